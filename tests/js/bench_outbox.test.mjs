// The outbox: kept before sending, sent until acknowledged, never twice once it is.
import assert from "node:assert/strict";
import test from "node:test";
import { longer, Outbox } from "../../src/hushpoint/web/static/bench_outbox.js";

/** A store as a browser has it where it is full, and one that may not even be named. */
const FULL = {
  getItem: () => null,
  setItem: () => {
    throw new Error("QuotaExceededError");
  },
};
const FORBIDDEN = {
  getItem: () => {
    throw new Error("SecurityError");
  },
  setItem: () => {
    throw new Error("SecurityError");
  },
};

function made(/** @type {(() => Promise<{status: number, data: object}>)[]} */ answers, /** @type {typeof FULL | null} */ given = null) {
  const kept = new Map();
  const store = given ?? { getItem: (/** @type {string} */ key) => kept.get(key) ?? null, setItem: (/** @type {string} */ key, /** @type {string} */ value) => void kept.set(key, value) };
  /** @type {string[]} */
  const sent = [];
  /** @type {string[]} */
  const told = [];
  const outbox = new Outbox(
    store,
    (path) => {
      assert.ok(outbox.waiting().length > 0, "kept before it is sent");
      sent.push(path);
      return (answers.shift() ?? (async () => ({ status: 201, data: {} })))();
    },
    {
      unkept: () => void told.push("unkept"),
      waiting: (kept) => void told.push(kept ? "waiting" : "waiting in memory"),
      stored: (id) => void told.push(`stored ${id}`),
      refused: (id, why) => void told.push(`refused ${id}: ${why}`),
    },
  );
  return { outbox, sent, told };
}

test("an acknowledged measurement leaves the outbox", async () => {
  const { outbox, sent, told } = made([]);
  await outbox.add("a1", { reading: 1 });
  assert.deepEqual(sent, ["/practise/measurements/a1/log"]);
  assert.deepEqual(told, ["stored a1"]);
  assert.deepEqual(outbox.waiting(), []);
});

test("without a network it waits, and goes out in order later", async () => {
  const { outbox, told } = made([() => Promise.reject(new Error("no network"))]);
  await outbox.add("a1", {});
  clearTimeout(outbox.timer);
  assert.equal(outbox.waiting().length, 1);
  await outbox.add("b2", {});
  assert.deepEqual(told, ["waiting", "stored a1", "stored b2"]);
});

test("two acts of one address both go out, though the second comes while the first is on its way", async () => {
  /** @type {(answer: {status: number, data: object}) => void} */
  let answer = () => {};
  const { outbox, sent, told } = made([() => new Promise((resolve) => (answer = resolve))]);
  const first = outbox.add("sheet", { ref: "one" });
  void outbox.add("sheet", { ref: "two" });
  void outbox.add("sheet", { ref: "two" });
  answer({ status: 200, data: {} });
  await first;
  assert.equal(sent.length, 2);
  assert.deepEqual(told, ["stored sheet", "stored sheet"]);
  assert.deepEqual(outbox.waiting(), []);
});

test("a server in trouble is asked again, a refusal is told once", async () => {
  const { outbox, told } = made([
    async () => ({ status: 503, data: {} }),
    async () => ({ status: 422, data: { error: "no release in this log" } }),
  ]);
  await outbox.add("a1", {});
  clearTimeout(outbox.timer);
  assert.equal(outbox.waiting().length, 1);
  await outbox.sendAll();
  assert.deepEqual(told, ["waiting", "refused a1: no release in this log"]);
  assert.deepEqual(outbox.waiting(), []);
});

for (const [name, store] of Object.entries({ full: FULL, forbidden: FORBIDDEN })) {
  test(`with a ${name} store the reading is told to be unkept, and sent from memory`, async () => {
    const { outbox, sent, told } = made([() => Promise.reject(new Error("no network"))], store);
    await outbox.add("a1", { reading: 1 });
    clearTimeout(outbox.timer);
    assert.deepEqual(told, ["unkept", "waiting in memory"]);
    assert.equal(outbox.unkept, true);
    await outbox.sendAll();
    assert.deepEqual(sent, ["/practise/measurements/a1/log", "/practise/measurements/a1/log"]);
    assert.deepEqual(told.slice(2), ["stored a1"]);
    assert.equal(outbox.unkept, false);
  });
}

test("a store spoilt by something else holds nothing and stops nothing", async () => {
  const { outbox, told } = made([], { getItem: () => "not JSON", setItem: () => {} });
  assert.deepEqual(outbox.waiting(), []);
  await outbox.sendAll();
  assert.deepEqual(told, []);
});

test("waits grow and stay below half a minute", () => {
  assert.equal(longer(1000), 2000);
  assert.equal(longer(16000), 20000);
});
