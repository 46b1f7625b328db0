// The next step of a visit from its readings and the policy's figures: the same rule as the server's (visit/judging.py),
// held to it by shared vectors, so that the open page goes on while the server cannot be reached.

/**
 * @typedef {[number, number]} Pair systolic, diastolic [mmHg]
 * @typedef {{arm: string, systolic: number | null, diastolic: number | null, at_ms: number}} Taken
 * @typedef {{rest_s: number, readings: number, step: Pair | null, interval_s: number, value: string, compare: string,
 *   apart: Pair | null, apart_strict: boolean, extra_rest_s: number, extra_most: number, cap: number,
 *   irregular_least: number, both_arms: boolean, arms_apart: number, gravest: [number, number, boolean]}} Figures
 * @typedef {{do: string, why: string, seconds: number}} Step
 * @typedef {{name: string, pairs: Pair[], pumped: number, last_ms: number, firstMissing: boolean}} Arm
 */

/**
 * @param {Figures} figures
 * @param {{readings: Taken[], barred: string[], firstVisit: boolean, irregular: boolean}} visit
 * @param {number} now_ms
 * @returns {Step}
 */
export function nextStep(figures, visit, now_ms) {
  const arms = armsOf(figures, visit);
  const allowed = ["left", "right"].filter((arm) => !visit.barred.includes(arm));
  if (!arms.length) {
    const where = allowed.length === 1 ? ` on the ${allowed[0]} arm, the only one allowed` : "";
    return { do: "take", why: `first reading${where}, after ${figures.rest_s / 60} min seated at rest`, seconds: figures.rest_s };
  }
  const lead = arms.reduce((best, arm) => (arm.pairs.length > best.pairs.length ? arm : best));
  if (!lead.pairs.length && visit.barred.includes(lead.name)) {
    return { do: "other_arm", why: `the ${lead.name} arm is barred: take readings on the ${allowed[0]} arm`, seconds: 0 };
  }
  const asked = outstanding(figures, lead, arms, visit.irregular);
  if (asked) {
    if (lead.pumped >= figures.cap) {
      return { do: "stop", why: `${lead.pumped} times pumped up on the ${lead.name} arm, the most in one sitting: another day`, seconds: 0 };
    }
    return timed("take", asked, lead, now_ms);
  }
  const name = allowed.find((arm) => arm !== lead.name);
  const other = arms.find((arm) => arm.name === name) ?? { name: name ?? "", pairs: [], pumped: 0, last_ms: NaN, firstMissing: false };
  if (name && other.pumped < figures.cap) {
    if (!other.pairs.length) {
      if (visit.firstVisit && figures.both_arms) return { do: "other_arm", why: `first visit: a reading on the ${name} arm too`, seconds: 0 };
    } else {
      const apart = valueOf(figures, other, visit.irregular)[0] - valueOf(figures, lead, visit.irregular)[0];
      const more = outstanding(figures, other, arms, visit.irregular);
      if (more && apart > figures.arms_apart) {
        return timed("other_arm", { ...more, why: `the ${name} arm is higher: ${more.why}` }, other, now_ms);
      }
    }
  }
  return { do: "enough", why: `${lead.pairs.length} on the ${lead.name} arm: enough`, seconds: 0 };
}

/**
 * Whether a reading is above the gravest limit, which with any symptom is an emergency.
 * @param {Figures} figures
 * @param {{systolic: number | null, diastolic: number | null}} reading
 */
export function gravest(figures, { systolic, diastolic }) {
  const [high, low, strict] = figures.gravest;
  const reached = (/** @type {number | null} */ end, /** @type {number} */ limit) => (strict ? (end ?? 0) > limit : (end ?? 0) >= limit);
  return reached(systolic, high) || reached(diastolic, low);
}

/**
 * @param {Figures} figures
 * @param {{readings: Taken[], barred: string[]}} visit
 * @returns {Arm[]}
 */
function armsOf(figures, visit) {
  /** @type {Map<string, Arm>} */
  const found = new Map();
  for (const one of [...visit.readings].sort((before, after) => before.at_ms - after.at_ms)) {
    const arm = found.get(one.arm) ?? { name: one.arm, pairs: [], pumped: 0, last_ms: 0, firstMissing: false };
    found.set(one.arm, arm);
    arm.pumped += 1;
    arm.last_ms = one.at_ms;
    const heard = one.systolic !== null && !!one.diastolic;
    const counted = heard && arm.pumped <= figures.cap && !visit.barred.includes(one.arm);
    if (counted) arm.pairs.push([one.systolic ?? 0, one.diastolic ?? 0]);
    else if (arm.pumped === 1) arm.firstMissing = true;
  }
  return [...found.values()];
}

/**
 * Why one more reading of an arm is asked for, and how long to wait before it; null where none is.
 * @param {Figures} figures
 * @param {Arm} arm
 * @param {Arm[]} arms
 * @param {boolean} irregular
 */
function outstanding(figures, arm, arms, irregular) {
  const all = arms.flatMap((each) => each.pairs);
  const many = arm.pairs.length;
  const least = askedFor(figures, all, irregular);
  const apart = irregular ? null : differing(figures, arm.pairs);
  if (many < least) return { why: `reading ${many + 1} of ${least} on the ${arm.name} arm`, wait_s: figures.interval_s };
  if (apart && many - least < figures.extra_most) {
    const why = `the readings differ by ${apart[0]} and ${apart[1]}: one more on the ${arm.name} arm`;
    return { why, wait_s: Math.max(figures.interval_s, figures.extra_rest_s) };
  }
  return null;
}

/**
 * @param {Figures} figures
 * @param {Pair[]} all
 * @param {boolean} irregular
 */
function askedFor(figures, all, irregular) {
  const { step } = figures;
  const one = step !== null && all.length > 0 && !all.some(([high, low]) => high >= step[0] || low >= step[1]);
  const base = one ? 1 : figures.readings;
  return irregular ? Math.max(base, figures.irregular_least) : base;
}

/**
 * @param {Figures} figures
 * @param {Pair[]} pairs
 * @returns {Pair | null}
 */
function differing(figures, pairs) {
  if (!figures.apart || pairs.length < 2) return null;
  const limits = figures.apart;
  const first = pairs.slice(0, figures.readings);
  /** @type {Record<string, [Pair, Pair][]>} */
  const compared = {
    first_two: [[pairs[0], pairs[1]]],
    last_two: [[pairs[pairs.length - 2], pairs[pairs.length - 1]]],
    any: first.flatMap((one, place) => first.slice(place + 1).map((/** @returns {[Pair, Pair]} */ (other) => [one, other]))),
  };
  for (const [ours, theirs] of compared[figures.compare] ?? []) {
    /** @type {Pair} */
    const by = [Math.abs(ours[0] - theirs[0]), Math.abs(ours[1] - theirs[1])];
    if (by.some((end, place) => end > limits[place] || (end === limits[place] && !figures.apart_strict))) return by;
  }
  return null;
}

/**
 * @param {Figures} figures
 * @param {Arm} arm
 * @param {boolean} irregular
 * @returns {Pair}
 */
function valueOf(figures, arm, irregular) {
  const { pairs } = arm;
  if (pairs.length === 1 || irregular || figures.value === "all") return mean(pairs);
  if (figures.value === "drop_first") return mean(arm.firstMissing ? pairs : pairs.slice(1));
  const last = pairs.slice(-2);
  if (figures.value === "last_two") return mean(last);
  return [Math.min(last[0][0], last[1][0]), Math.min(last[0][1], last[1][1])];
}

/** @param {Pair[]} pairs @returns {Pair} */
function mean(pairs) {
  const sum = (/** @type {0 | 1} */ end) => pairs.reduce((total, pair) => total + pair[end], 0) / pairs.length;
  return [sum(0), sum(1)];
}

/**
 * @param {string} what
 * @param {{why: string, wait_s: number}} asked
 * @param {Arm} arm
 * @param {number} now_ms
 * @returns {Step}
 */
function timed(what, asked, arm, now_ms) {
  const since_s = (now_ms - arm.last_ms) / 1000;
  if (since_s < 0) return { do: what, why: asked.why, seconds: Math.ceil(asked.wait_s) };
  const left = Math.ceil(asked.wait_s - since_s);
  return left > 0 ? { do: "wait", why: `then ${asked.why}`, seconds: left } : { do: what, why: asked.why, seconds: 0 };
}
