// Verdicts in words, with what they rest on. Says what was found and computes nothing.
"use strict";
(() => {
  const { el, figure, mark, counted } = gramwatt;
  const READ = {
    "specific thrust": ["g/W", "at the same thrust"],
    thrust: ["thrust", "at the same throttle on the same bus voltage"],
  };
  const PARTS = {
    mounting: "Mounting again",
    stands: "Stands whose bias is not known",
    scales: "Scales",
    own: "The runs' own scatter",
    air: "Air",
  };

  const percent = (log) => 100 * Math.expm1(log);

  function span(found, gfPerN) {
    return found.what === "specific thrust"
      ? `${figure(gfPerN * found.x_from)} to ${figure(gfPerN * found.x_to)} gf`
      : `${figure(found.x_from)} to ${figure(found.x_to)} V at the motor`;
  }

  function interval(value, low, high) {
    const half = (high - low) / 2;
    return `${figure(value, half)} % (95 % interval ${figure(low, half)} to ${figure(high, half)} %)`;
  }

  // The sentence of a verdict.
  function sentence(found, first, second, gfPerN) {
    const [unit, matched] = READ[found.what];
    const over = `on average from ${span(found, gfPerN)}`;
    const value = percent(found.log);
    const more = value >= 0 ? "more" : "less";
    if (found.verdict === "no verdict") {
      const why = found.missing === "mounting"
        ? "nobody mounted an article twice, so what mounting again does is not known"
        : "they are from different stands, and how those differ is not known: an article that travels between them would show it";
      return `No verdict on ${found.what}: ${second} gave ${figure(Math.abs(value), Math.abs(value))} % ${more} ${unit} than ${first} ${matched}, ${over}, but ${why}.`;
    }
    const [low, high] = [found.log - found.half, found.log + found.half].map(percent);
    if (found.verdict === "cannot tell") {
      return `${second} and ${first} cannot be told apart in ${found.what} ${matched}: the difference was ${interval(value, low, high)}, ${over}.`;
    }
    const limits = value >= 0 ? [low, high] : [-high, -low];
    return `${second} gave ${more} ${unit} than ${first} ${matched}, by ${interval(Math.abs(value), ...limits)} ${over}.`;
  }

  // What it rests on, and the parts of what is uncertain, as a table.
  function restsOn(found) {
    const [one, other] = found.runs;
    const runs = `It rests on ${counted(one + other, "run")} (${one} and ${other}) from ${counted(found.stands, "stand")}.`;
    const moved = found.moved ? ` Taking off what the stands are known to read too much moved it by ${figure(100 * found.moved)} %.` : "";
    const total = Object.values(found.parts).reduce((sum, part) => sum + part.u ** 2, 0);
    const lines = Object.entries(found.parts).map(([name, part]) => el("tr", {},
      el("th", { scope: "row", class: "text" }, PARTS[name]),
      el("td", {}, part.u ? `${figure(100 * part.u, 100 * part.u)} %` : "none"),
      el("td", {}, total ? `${Math.round((100 * part.u ** 2) / total)} %` : ""),
      el("td", {}, Number.isFinite(part.dof) ? figure(part.dof, 10) : "many")));
    const missing = found.missing ? el("p", {}, `Not known: what ${found.missing === "mounting" ? "mounting again does" : "stands differ by"}.`) : null;
    return el("details", {},
      el("summary", {}, "What it rests on"),
      el("p", {}, runs + moved),
      missing,
      el("table", { class: "parts-of" },
        el("thead", {}, el("tr", {},
          el("th", { scope: "col", class: "text" }, "Cause"),
          el("th", { scope: "col" }, "Standard uncertainty"),
          el("th", { scope: "col" }, "Share of the variance"),
          el("th", { scope: "col" }, "Degrees of freedom"))),
        el("tbody", {}, ...lines)));
  }

  // A verdict as it stands on the page. Where only some of it was measured it has no mark.
  function told(found, first, second, gfPerN, alike) {
    const clear = alike && (found.verdict === "more" || found.verdict === "less");
    return el("div", { class: "part", "data-verdict": found.verdict },
      el("p", { class: "verdict-line" }, clear ? mark("good") : null, sentence(found, first, second, gfPerN).replaceAll(" %", "\u00a0%")),
      restsOn(found));
  }

  gramwatt.verdicts = { told, sentence };
})();
