//! Results for people: pictures, tables, the page. Returns text or bytes and writes nothing.
