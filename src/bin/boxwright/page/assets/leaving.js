// @ts-check
// What has to be undone when a view is left: followers of the record, plots, timers.

/** @type {(() => void)[]} */
const undoing = [];

/** @param {() => void} undo */
export function whenLeft(undo) {
  undoing.push(undo);
}

export function leaveView() {
  for (const undo of undoing.splice(0)) undo();
}
