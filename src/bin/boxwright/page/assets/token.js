// @ts-check
// The token that the program printed: taken out of the address at once and kept for this tab alone.

const KEPT = "boxwright-token";

/** The token from the address or from before a reload; empty if this tab has none. */
export function takeToken() {
  const given = /^#token=([A-Za-z0-9_-]+)$/.exec(location.hash);
  if (given) {
    sessionStorage.setItem(KEPT, given[1]);
    history.replaceState(null, "", location.pathname);
  }
  return sessionStorage.getItem(KEPT) ?? "";
}
