// The page of curves and verdicts: which runs, drawn together, and held against each
// other. Each run's data is a file that is read when it is wanted.
"use strict";
(() => {
  const { el, figure, between, counted, load, state, chart, verdicts, across } = gramwatt;
  const find = (id) => document.getElementById(id);
  const club = gramwatt.data("club");
  const gf = club.gf_per_n;
  const FAMILIES = [
    { name: "specific_thrust", words: "Specific thrust against thrust", xWords: "Thrust, gf", xScale: gf, xUnit: "gf", yWords: "Specific thrust, g/W", yScale: gf, yUnit: "g/W", fromZero: false },
    { name: "thrust_by_throttle", words: "Thrust against throttle", xWords: "Throttle, %", xScale: 100, xUnit: "%", yWords: "Thrust, gf", yScale: gf, yUnit: "gf", fromZero: true },
    { name: "current_by_throttle", words: "Current against throttle", xWords: "Throttle, %", xScale: 100, xUnit: "%", yWords: "Current, A", yScale: 1, yUnit: "A", fromZero: true },
    { name: "power_by_throttle", words: "Electrical power against throttle", xWords: "Throttle, %", xScale: 100, xUnit: "%", yWords: "Electrical power, W", yScale: 1, yUnit: "W", fromZero: true },
  ];
  const CURVES = { "specific thrust": "specific_thrust", thrust: "thrust" };
  const NATURE = { simulated: "Simulated", invented: "Invented" };
  let runs = [];
  let family = FAMILIES.find((one) => one.name === state.get("family")) || FAMILIES[0];
  let first = "";
  // Verdicts rest on every run of the chosen articles, or on the chosen runs alone.
  let whole = state.get("verdicts") !== "chosen";

  const agreements = new Map(club.agreed.map((one) => [one.what, {
    within: one.within,
    between: one.between,
    consensus_u: one.consensus_u,
    biases: new Map(one.biases.map((bias) => [bias.scale, bias])),
  }]));

  async function readOne(id) {
    await load(`data/runs/${id}.js`);
    return gramwatt.data(`run ${id}`);
  }

  async function read(ids) {
    const faults = [];
    const found = await Promise.all(ids.map((id) => readOne(id).catch(() => {
      faults.push(`The run ${id} is not on this site.`);
      return null;
    })));
    find("fault").textContent = faults.join(" ");
    return found.filter(Boolean);
  }

  // ---------------------------------------------------------------- the list

  function legend() {
    const items = runs.map((run, place) => el("li", {},
      el("span", { class: "which" }, el("strong", {}, chart.letter(place)), chart.sample(place)),
      el("div", {},
        el("p", {}, el("a", { href: `runs/${run.id}.html` }, run.article), " ",
          NATURE[run.nature] ? el("span", { class: "nature" }, NATURE[run.nature]) : null),
        el("p", { class: "quiet" }, `${run.motor}; ${run.propeller}; ${run.cells}`),
        el("p", { class: "quiet" }, `${run.by || "sender not named"}, ${run.stand}, ${run.day}`),
        el("p", { class: "quiet" }, `${run.rests}; ${run.record}`)),
      el("button", { type: "button", "data-id": run.id, "aria-label": `Take out ${chart.letter(place)}, ${run.article}` }, "Take out")));
    find("legend").replaceChildren(...items);
    find("back").setAttribute("href", `index.html#${state.text()}`);
    const natures = new Set(runs.map((run) => run.nature));
    const said = find("said");
    said.hidden = natures.has("measured") || !runs.length;
    said.textContent = "Nothing on this page was measured: every run is simulated or invented.";
  }

  // What stands beside a chart and a verdict, so that they say it away from the page too.
  function tags(several) {
    const natures = new Set(several.map((run) => run.nature));
    const words = [...natures].filter((nature) => NATURE[nature]).map((nature) => NATURE[nature]);
    const some = natures.has("measured") && words.length ? "Partly " : "";
    return words.flatMap((word) => [" ", el("span", { class: "nature" }, some ? some + word.toLowerCase() : word)]);
  }

  // ---------------------------------------------------------------- the curves

  function families() {
    find("families").replaceChildren(...FAMILIES.map((one) => {
      const radio = el("input", { type: "radio", name: "family", value: one.name });
      radio.checked = one === family;
      return el("label", { class: "choice" }, radio, one.words);
    }));
  }

  const having = () => runs.map((run, place) => ({ run, place, curve: run.curves[family.name] })).filter(({ curve }) => curve);

  async function curves() {
    const drawn = having();
    find("caption").replaceChildren(family.words, ...tags(drawn.map(({ run }) => run)));
    const letters = new Intl.ListFormat("en-GB").format(drawn.map(({ place }) => chart.letter(place)));
    find("told").textContent = drawn.length
      ? `${letters}${drawn.length > 1 ? ", each" : ""} with its 95 % band, which holds what is known to be uncertain about that run. Marks tell curves apart; they are not readings.`
      : "";
    find("lacking").replaceChildren(...runs
      .map((run, place) => ({ run, place }))
      .filter(({ run }) => !run.curves[family.name])
      .map(({ run, place }) => el("li", {}, `${chart.letter(place)}, ${run.article}, has no such curve.`)));
    find("chart").hidden = !drawn.length;
    values(drawn);
    if (drawn.length) {
      try {
        await chart.draw(find("chart"), drawn, family);
      } catch {
        find("fault").textContent = "The library that draws, own/plotly.min.js, is not beside this page: the figures below say the same.";
        find("values-all").open = true;
      }
    }
  }

  // Round numbers inside a range, nine at most.
  function roundPlaces(low, high) {
    const size = 10 ** Math.floor(Math.log10((high - low) / 8));
    const step = [1, 2, 2.5, 5, 10].map((one) => one * size).find((one) => (high - low) / one <= 8);
    const first = Math.ceil(low / step - 1e-9);
    const last = Math.floor(high / step + 1e-9);
    return Array.from({ length: last - first + 1 }, (_, at) => Number(((first + at) * step).toPrecision(10)));
  }

  // The same as a table, at round places.
  function values(drawn) {
    if (!drawn.length) {
      find("values").replaceChildren();
      return;
    }
    const low = Math.min(...drawn.map(({ curve }) => curve.x[0]));
    const high = Math.max(...drawn.map(({ curve }) => curve.x[curve.x.length - 1]));
    const places = roundPlaces(family.xScale * low, family.xScale * high).map((x) => x / family.xScale);
    const head = el("tr", {}, el("th", { scope: "col" }, family.xWords),
      ...drawn.map(({ place }) => el("th", { scope: "col" }, `${chart.letter(place)}, ${family.yUnit}`)));
    const body = places.map((x) => el("tr", {}, el("th", { scope: "row" }, String(Number((family.xScale * x).toPrecision(6)))),
      ...drawn.map(({ curve }) => {
        const y = between(curve.x, curve.y, x);
        if (y === null) {
          return el("td", {}, el("span", { class: "quiet" }, "not measured"));
        }
        const half = family.yScale * between(curve.x, curve.half, x);
        return el("td", {}, figure(family.yScale * y, half), el("small", {}, `\u00b1 ${figure(half, half)}`));
      })));
    find("values").replaceChildren(el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Figures of the curves" },
      el("table", {}, el("caption", { class: "away" }, `${family.words}, with half of each 95 % interval`),
        el("thead", {}, head), el("tbody", {}, ...body))));
  }

  // ---------------------------------------------------------------- the verdicts

  // Chosen runs by article, each named with the letters of its runs.
  function articles() {
    const found = new Map();
    runs.forEach((run, place) => {
      const known = found.get(run.article_key) || { key: run.article_key, runs: [], letters: [] };
      known.runs.push(run);
      known.letters.push(chart.letter(place));
      found.set(run.article_key, known);
    });
    return [...found.values()].map((one) => ({ ...one, chosen: one.runs, name: `${one.runs[0].article} (${one.letters.join(", ")})` }));
  }

  // Runs of the articles that are not chosen: of the same nature, so that what is
  // simulated never stands beside what was measured unasked.
  async function others(several) {
    const missing = several.map(({ chosen }) => {
      const ids = new Set(chosen.flatMap((run) => run.siblings));
      chosen.forEach((run) => ids.delete(run.id));
      return [...ids];
    });
    const found = await Promise.all(missing.map((ids) => Promise.all(ids.map((id) => readOne(id).catch(() => null)))));
    return several.map(({ chosen }, at) => found[at].filter((run) => run && chosen.some(({ nature }) => nature === run.nature)));
  }

  function joined(one, more) {
    if (!more.length) {
      return one;
    }
    const name = `${one.runs[0].article} (${one.letters.join(", ")} and ${counted(more.length, "run")} more)`;
    return { ...one, runs: [...one.chosen, ...more], name };
  }

  function summaries(several, what) {
    return several.map((run) => {
      const curve = run.curves[CURVES[what]];
      return curve && {
        article: run.article_key,
        stand: run.stand_key,
        scale: run.scale_key,
        x: curve.x,
        log: curve.y.map(Math.log),
        own_u: curve.own_u_rel,
        scale_u: curve.scale_u_rel,
        dof: curve.dof ?? null,
        density_kg_m3: run.density_kg_m3 ?? null,
      };
    }).filter(Boolean);
  }

  function held(one, other, what) {
    const [mine, theirs] = [one, other].map((article) => summaries(article.runs, what));
    if (!mine.length || !theirs.length) {
      const lacking = mine.length ? other : one;
      return el("p", { class: "empty" }, `Not compared in ${what}: ${lacking.name} has no such curve.`);
    }
    const found = across.holdAcross(what, mine, theirs, agreements.get(what));
    if (found.refused) {
      return el("p", { class: "empty" }, `Not compared in ${what}: ${found.refused}`);
    }
    return verdicts.told(found, one.name, other.name, gf, natures(one, other).size === 1);
  }

  const natures = (one, other) => new Set([...one.runs, ...other.runs].map((run) => run.nature));

  // Said before a verdict: what is simulated tells nothing about what was measured.
  function unlike(one, other) {
    const found = natures(one, other);
    if (found.size === 1) {
      return null;
    }
    const made = [...found].filter((nature) => nature !== "measured").join(" and ");
    return el("p", { class: "simulated" }, `Some of it is ${made}: a verdict between that and the rest says nothing of real parts.`);
  }

  // What the articles' runs rest on, where they do not rest on the same.
  function evidence(one, other) {
    const grounds = (article) => [...new Set(article.runs.map((run) => `${run.rests}; ${run.record}`))].sort();
    if (grounds(one).join("\n") === grounds(other).join("\n")) {
      return [];
    }
    const items = [one, other].map((article) => el("li", {}, `${article.name}:`,
      el("ul", {}, ...grounds(article).map((text) => el("li", {}, text)))));
    return [el("p", { class: "quiet" }, "They do not rest on the same."), el("ul", { class: "quiet grounds" }, ...items)];
  }

  function again(several) {
    const more = new Set(several.flatMap((one) => one.chosen.flatMap((run) => run.siblings)));
    runs.forEach((run) => more.delete(run.id));
    const room = state.MOST_CHOSEN - runs.length;
    if (!more.size || room <= 0) {
      return null;
    }
    const taken = [...more].slice(0, room);
    return el("p", { class: "do" },
      el("button", { type: "button", "data-add": taken.join(",") }, `Draw ${counted(taken.length, "more run")} of ${several.length === 1 ? "this article" : "these articles"}`));
  }

  // Which runs verdicts rest on, where there is a choice.
  function basis(more) {
    if (!more) {
      return null;
    }
    const choice = (value, checked, text) => {
      const radio = el("input", { type: "radio", name: "basis", value });
      radio.checked = checked;
      return el("label", { class: "choice" }, radio, text);
    };
    return el("fieldset", { class: "plain" }, el("legend", { class: "away" }, "What verdicts rest on"),
      el("div", { class: "row" },
        choice("whole", whole, `On all runs of these articles, ${counted(more, "run")} more than chosen`),
        choice("chosen", !whole, "On the chosen runs alone")));
  }

  let turn = 0;
  async function tellVerdicts() {
    turn += 1;
    const mine = turn;
    let several = articles();
    if (several.length < 2) {
      find("verdicts").replaceChildren(
        el("p", { class: "empty" }, several.length ? "All chosen runs are of one article: there is nothing to hold it against. Choose a run of another." : ""), again(several) || "");
      return;
    }
    const more = await others(several);
    if (mine !== turn) {
      return; // asked again meanwhile
    }
    if (whole) {
      several = several.map((article, at) => joined(article, more[at]));
    }
    const one = several.find(({ key }) => key === first) || several[0];
    const select = el("select", { id: "against" }, ...several.map(({ key, name }) => {
      const option = el("option", { value: key }, name);
      option.selected = key === one.key;
      return option;
    }));
    const parts = several.filter((other) => other !== one).map((other) => el("section", { class: "pair", "aria-label": `${other.name} against ${one.name}` },
      el("h3", {}, `${other.name} against ${one.name}`, ...tags([...one.runs, ...other.runs])),
      unlike(one, other),
      held(one, other, "specific thrust"),
      held(one, other, "thrust"),
      ...evidence(one, other)));
    const extra = more.reduce((sum, found) => sum + found.length, 0);
    find("verdicts").replaceChildren(el("p", {}, el("label", {}, "Held against ", select)), basis(extra) || "", ...parts, again(several) || "");
  }

  // ---------------------------------------------------------------- all of it

  async function show(ids) {
    runs = await read(ids);
    state.choose(runs.map((run) => run.id));
    state.set("family", family === FAMILIES[0] ? "" : family.name);
    state.write();
    find("nothing").hidden = runs.length > 0;
    find("all").hidden = !runs.length;
    legend();
    families();
    await Promise.all([tellVerdicts(), curves()]);
    document.body.dataset.ready = String(runs.length);
  }

  find("legend").addEventListener("click", async (event) => {
    const button = event.target.closest("button");
    if (button) {
      await show(runs.map((run) => run.id).filter((id) => id !== button.dataset.id));
      (find("legend").querySelector("button") || find("nothing").querySelector("a")).focus();
    }
  });
  find("families").addEventListener("change", async (event) => {
    family = FAMILIES.find((one) => one.name === event.target.value);
    state.set("family", family === FAMILIES[0] ? "" : family.name);
    state.write();
    find("back").setAttribute("href", `index.html#${state.text()}`);
    await curves();
  });
  find("verdicts").addEventListener("change", async (event) => {
    if (event.target.name === "basis") {
      whole = event.target.value === "whole";
      state.set("verdicts", whole ? "" : "chosen");
      state.write();
      await tellVerdicts();
      find("verdicts").querySelector("[name=basis]:checked").focus();
    } else {
      first = event.target.value;
      await tellVerdicts();
      find("against").focus();
    }
  });
  find("verdicts").addEventListener("click", async (event) => {
    const button = event.target.closest("button[data-add]");
    if (button) {
      await show([...runs.map((run) => run.id), ...button.dataset.add.split(",")]);
      find("legend").querySelector("button").focus();
    }
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => curves());

  show(state.chosen());
})();
