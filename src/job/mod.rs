//! A measurement from start to finish, where domain, disk and card meet.
