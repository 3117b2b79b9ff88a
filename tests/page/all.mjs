// All tests of the page, one after the other: there is one sound card.

for (const name of ["token", "job", "curves", "answers", "gate", "blend", "sound", "looks"]) {
  await import(`./${name}.test.mjs`);
}
