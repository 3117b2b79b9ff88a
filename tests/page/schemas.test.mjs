// What the program writes keeps the published schemas, judged by a validator that shares nothing with it.
import { strict as assert } from "node:assert";
import { execFileSync } from "node:child_process";
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { fileURLToPath } from "node:url";
import { Ajv2020 } from "ajv/dist/2020.js";

const job = process.env.BOXWRIGHT_PAGE_JOB;
const program = process.env.BOXWRIGHT_PROGRAM;
const schemas = fileURLToPath(new URL("../../schemas", import.meta.url));

const ajv = new Ajv2020({ allErrors: true, strict: false, validateFormats: false });
const judges = new Map();
for (const name of readdirSync(schemas)) {
  judges.set(name.replace(".schema.json", ""), ajv.compile(JSON.parse(readFileSync(join(schemas, name), "utf8"))));
}

/** What is wrong with a document; nothing if it keeps its schema. */
function faults(document) {
  const kind = document.schema?.split("/")[1];
  const judge = judges.get(kind);
  assert.ok(judge, `no schema of ${document.schema}`);
  return judge(document) ? [] : judge.errors.map((error) => `${error.instancePath} ${error.message}`);
}

const printed = (...words) => {
  try {
    return JSON.parse(execFileSync(program, [...words, "--json"], { cwd: job, encoding: "utf8", stdio: ["ignore", "pipe", "ignore"] }));
  } catch (error) {
    if (error.status === 3) return JSON.parse(error.stdout);
    throw error;
  }
};

test("every document in a whole job keeps its schema", () => {
  let documents = 0;
  for (const name of readdirSync(job, { recursive: true }).filter((name) => name.endsWith(".json"))) {
    const document = JSON.parse(readFileSync(join(job, name), "utf8"));
    if (!String(document.schema).startsWith("boxwright/")) continue;
    assert.deepEqual(faults(document), [], name);
    documents += 1;
  }
  assert.ok(documents > 25, `${documents} documents`);
});

test("what is only printed keeps its schema too", () => {
  for (const words of [["status"], ["check"], ["response", "--room", "4.3x3.4x2.45"], ["network", "rear.cir"]]) {
    assert.deepEqual(faults(printed(...words)), [], words.join(" "));
  }
});

test("a document that breaks its schema is told of", () => {
  const document = printed("status");
  document.captures[0].complete = "yes";
  delete document.results;
  assert.equal(faults(document).length, 2);
});
