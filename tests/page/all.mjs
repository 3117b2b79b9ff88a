// The tests named in BOXWRIGHT_PAGE_TESTS, one after the other in one browser: a program has one sound card.

for (const name of process.env.BOXWRIGHT_PAGE_TESTS.split(" ")) {
  await import(`./${name}.test.mjs`);
}
