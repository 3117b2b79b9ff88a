// @ts-check
// Work that runs once at a time and only on the latest wish: what was wished for in between is skipped.

/**
 * @template T
 * @param {(wish: T) => Promise<void>} work
 * @returns {(wish: T) => Promise<void>}
 */
export function onlyTheLatest(work) {
  let busy = false;
  /** @type {{wish: T} | null} */
  let next = null;
  return async (wish) => {
    next = { wish };
    if (busy) return;
    busy = true;
    try {
      while (next) {
        const now = next.wish;
        next = null;
        await work(now);
      }
    } finally {
      busy = false;
    }
  };
}
