// Whether two articles differ, on whatever stands they were measured: the sums that the
// docstring of daq/analysis/across.py numbers, in the same order. Numbers in, numbers out;
// a test holds every answer to that module's own.
"use strict";
(() => {
  const CONSTANTS = {
    points: 9,
    narrowest_share: 0.2,
    left_over: 0.1,
    barometer_u_rel: 200 / 101325,
    density_u_rel: 0.0045,
    not_noted_u_rel: 0.08163265185344189,
    exponents: {
      "specific thrust": { middle: 0.375, u: 0.25 / Math.sqrt(12) },
      thrust: { middle: 2 / 3, u: (2 / 3) / Math.sqrt(12) },
    },
  };
  const MANY_DOF = 1e6;
  const NORMAL = 1.959963984540054;
  const UPPER = 0.975;

  // ------------------------------------------------------------- Student's factor

  // Lanczos' approximation, g = 7, nine terms (from memory; good to 15 digits).
  const LANCZOS = [
    0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313,
    -176.61502916214059, 12.507343278686905, -0.13857109526572012,
    9.9843695780195716e-6, 1.5056327351493116e-7,
  ];
  function logGamma(z) {
    const x = z - 1;
    let sum = LANCZOS[0];
    for (let at = 1; at < LANCZOS.length; at += 1) {
      sum += LANCZOS[at] / (x + at);
    }
    const t = x + 7.5;
    return 0.5 * Math.log(2 * Math.PI) + (x + 0.5) * Math.log(t) - t + Math.log(sum);
  }

  // log of gamma(a + 1/2) / gamma(a), by its series where the difference loses digits.
  function logHalfStep(a) {
    if (a < 40) {
      return logGamma(a + 0.5) - logGamma(a);
    }
    const v = 1 / a;
    return 0.5 * Math.log(a) - v / 8 + v ** 3 / 192 - v ** 5 / 640 + (17 * v ** 7) / 14336;
  }

  // Continued fraction of the incomplete beta function (Lentz).
  function betaFraction(a, b, x) {
    const tiny = 1e-300;
    const off = (value) => (Math.abs(value) < tiny ? tiny : value);
    let c = 1;
    let d = 1 / off(1 - ((a + b) * x) / (a + 1));
    let h = d;
    for (let m = 1; m < 10000; m += 1) {
      const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
      d = 1 / off(1 + even * d);
      c = off(1 + even / c);
      h *= d * c;
      const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
      d = 1 / off(1 + odd * d);
      c = off(1 + odd / c);
      h *= d * c;
      if (Math.abs(d * c - 1) < 1e-15) {
        break;
      }
    }
    return h;
  }

  // Student's distribution: what lies above t, for t above zero.
  function above(t, dof) {
    const a = dof / 2;
    const t2 = t * t;
    const x = dof / (dof + t2);
    const logX = -Math.log1p(t2 / dof);
    const log1X = Math.log(t2 / (dof + t2));
    // log of 1 / B(a, 1/2)
    const logOverBeta = logHalfStep(a) - 0.5 * Math.log(Math.PI);
    const front = Math.exp(logOverBeta + a * logX + 0.5 * log1X);
    const whole = x < (a + 1) / (a + 2.5)
      ? (front * betaFraction(a, 0.5, x)) / a
      : 1 - (front * betaFraction(0.5, a, 1 - x)) / 0.5;
    return whole / 2;
  }

  function density(t, dof) {
    const log = logHalfStep(dof / 2) - 0.5 * Math.log(dof * Math.PI);
    return Math.exp(log - ((dof + 1) / 2) * Math.log1p((t * t) / dof));
  }

  // Two-sided factor of 95 %, degrees of freedom not rounded.
  const factors = new Map();
  function tFactor(dof) {
    if (!(dof < MANY_DOF)) {
      return NORMAL;
    }
    if (!factors.has(dof)) {
      let t = NORMAL;
      // The tail is convex there: Newton from below only rises, so it cannot run away.
      for (let turn = 0; turn < 200; turn += 1) {
        const step = (above(t, dof) - (1 - UPPER)) / density(t, dof);
        t += step;
        if (Math.abs(step) < 1e-13 * t) {
          break;
        }
      }
      factors.set(dof, t);
    }
    return factors.get(dof);
  }

  function welch(variances, dofs) {
    const total = variances.reduce((sum, one) => sum + one, 0);
    const spread = variances.reduce((sum, one, at) => sum + (one * one) / dofs[at], 0);
    return spread > 0 ? Math.max((total * total) / spread, 1) : Infinity;
  }

  // ------------------------------------------------------------- what is taken

  const last = (list) => list[list.length - 1];
  const mean = (list) => list.reduce((sum, one) => sum + one, 0) / list.length;
  const dot = (one, other) => one.reduce((sum, value, at) => sum + value * other[at], 0);

  // Points over the range that all runs cover; null where there is none to speak of.
  function commonRange(runs) {
    const low = Math.max(...runs.map((run) => run.x[0]));
    const high = Math.min(...runs.map((run) => last(run.x)));
    const widest = Math.max(...runs.map((run) => last(run.x) - run.x[0]));
    if (!(high - low >= CONSTANTS.narrowest_share * widest)) {
      return null;
    }
    const step = (high - low) / (CONSTANTS.points - 1);
    const x = Array.from({ length: CONSTANTS.points }, (_, at) => low + at * step);
    x[x.length - 1] = high;
    return x;
  }

  // Straight lines between points; as at the ends beyond them.
  function drawnTo(x, xs, ys) {
    const at = Math.min(Math.max(x, xs[0]), last(xs));
    return gramwatt.between(xs, ys, at);
  }

  function sums(names, values) {
    const found = new Map();
    names.forEach((name, at) => found.set(name, (found.get(name) || 0) + values[at]));
    return found;
  }

  function take(what, runs, firsts, x, agreed) {
    const seconds = runs.length - firsts;
    const w = runs.map((_, at) => (at < firsts ? -1 / firsts : 1 / seconds));
    const over = (name) => runs.map((run) => mean(x.map((one) => drawnTo(one, run.x, run[name]))));
    let log = over("log");
    const own = over("own_u");
    const scale = over("scale_u");
    let rise = null;
    if (runs.every((run) => run.density_kg_m3 !== null)) {
      const logs = runs.map((run) => Math.log(run.density_kg_m3));
      const middle = mean(logs);
      rise = logs.map((one) => middle - one);
      log = log.map((one, at) => one + CONSTANTS.exponents[what].middle * rise[at]);
    }
    const off = runs.map((run) => (agreed.biases.has(run.scale) ? agreed.biases.get(run.scale).log : 0));
    return { runs, w, log: log.map((one, at) => one - off[at]), own, scale, rise, moved: -dot(w, off) };
  }

  // ------------------------------------------------------------- the parts

  function within(taken, known) {
    const groups = new Map();
    taken.runs.forEach((run, at) => {
      const name = JSON.stringify([run.article, run.scale]);
      groups.set(name, [...(groups.get(name) || []), taken.log[at]]);
    });
    let dof = 0;
    let squares = 0;
    for (const group of groups.values()) {
      const middle = mean(group);
      dof += group.length - 1;
      squares += group.reduce((sum, one) => sum + (one - middle) ** 2, 0);
    }
    if (known) {
      dof += known.dof;
      squares += known.dof * known.sd ** 2;
    }
    return dof ? { sd: Math.sqrt(squares / dof), dof } : null;
  }

  const cancels = (share) => Math.abs(share) < 1e-9;

  function mounting(taken, agreed, spread, counts) {
    if (!spread) {
      return null;
    }
    let variance = spread.sd ** 2 * (1 / counts[0] + 1 / counts[1]);
    let { dof } = spread;
    for (const [scale, share] of sums(taken.runs.map((run) => run.scale), taken.w)) {
      const bias = agreed.biases.get(scale);
      if (bias && !cancels(share)) {
        variance += (share * bias.u) ** 2;
        dof = Math.min(dof, bias.dof);
      }
    }
    return { u: Math.sqrt(variance), dof };
  }

  function stands(taken, agreed) {
    const weights = taken.w.map((one, at) => (agreed.biases.has(taken.runs[at].scale) ? 0 : one));
    const shares = [...sums(taken.runs.map((run) => run.stand), weights).values()];
    if (shares.every(cancels)) {
      return { u: 0, dof: Infinity };
    }
    if (!agreed.between) {
      return null;
    }
    const total = shares.reduce((sum, one) => sum + one, 0);
    const variance = agreed.between.sd ** 2 * dot(shares, shares) + (total * agreed.consensus_u) ** 2;
    return { u: Math.sqrt(variance), dof: agreed.between.dof };
  }

  function scales(taken, agreed) {
    const names = taken.runs.map((run) => run.scale);
    const left = sums(names, taken.w.map((one, at) => (CONSTANTS.left_over / 2) * Math.abs(one) * taken.scale[at]));
    let variance = [...left.values()].reduce((sum, one) => sum + one ** 2, 0);
    for (const [scale, value] of sums(names, taken.w.map((one, at) => one * taken.scale[at]))) {
      variance += agreed.biases.has(scale) ? 0 : value ** 2;
    }
    return { u: Math.sqrt(variance), dof: Infinity };
  }

  function own(taken) {
    const variances = taken.w.map((one, at) => (one * taken.own[at]) ** 2);
    const dof = welch(variances, taken.runs.map((run) => run.dof ?? Infinity));
    return { u: Math.sqrt(variances.reduce((sum, one) => sum + one, 0)), dof };
  }

  function air(what, taken) {
    const exponent = CONSTANTS.exponents[what];
    const benches = [...sums(taken.runs.map((run) => run.stand), taken.w).values()];
    const ofBenches = exponent.middle ** 2 * dot(benches, benches);
    if (!taken.rise) {
      return { u: CONSTANTS.not_noted_u_rel * Math.sqrt(ofBenches), dof: Infinity };
    }
    const held = exponent.u * dot(taken.w, taken.rise);
    const each = taken.w.map((one) => exponent.middle * CONSTANTS.density_u_rel * one);
    const variance = held ** 2 + CONSTANTS.barometer_u_rel ** 2 * ofBenches + dot(each, each);
    return { u: Math.sqrt(variance), dof: Infinity };
  }

  // ------------------------------------------------------------- the verdict

  const NOTHING = { within: null, between: null, consensus_u: 0, biases: new Map() };

  // The second article against the first. Runs are summaries as across.py has them, dof
  // null for many; what the stands agree on has its biases in a Map by scale.
  function holdAcross(what, first, second, agreement) {
    const agreed = agreement || NOTHING;
    const runs = [...first, ...second];
    const x = commonRange(runs);
    if (!x) {
      return { refused: "the runs have hardly any range in common; measure them over the same levels." };
    }
    const taken = take(what, runs, first.length, x, agreed);
    const spread = within(taken, agreed.within);
    const found = {
      mounting: mounting(taken, agreed, spread, [first.length, second.length]),
      stands: stands(taken, agreed),
      scales: scales(taken, agreed),
      own: own(taken),
      air: air(what, taken),
    };
    const parts = Object.fromEntries(Object.entries(found).filter(([, part]) => part));
    const missing = ["mounting", "stands"].find((name) => !parts[name]) || "";
    const log = dot(taken.w, taken.log);
    const answer = {
      what,
      x_from: x[0],
      x_to: last(x),
      log,
      u: NaN,
      dof: NaN,
      half: NaN,
      parts,
      runs: [first.length, second.length],
      stands: new Set(runs.map((run) => run.stand)).size,
      moved: taken.moved,
      verdict: "no verdict",
      missing,
    };
    if (!missing) {
      const several = Object.values(parts);
      const variances = several.map((part) => part.u ** 2);
      answer.u = Math.sqrt(variances.reduce((sum, one) => sum + one, 0));
      answer.dof = welch(variances, several.map((part) => part.dof));
      const alone = several.map((part) => tFactor(part.dof) * part.u);
      answer.half = Math.max(tFactor(answer.dof) * answer.u, ...alone);
      answer.verdict = log - answer.half > 0 ? "more" : log + answer.half < 0 ? "less" : "cannot tell";
    }
    answer.ratio = {
      value: Math.expm1(log),
      low: Math.expm1(log - answer.half),
      high: Math.expm1(log + answer.half),
    };
    return answer;
  }

  gramwatt.across = { holdAcross, tFactor, CONSTANTS };
})();
