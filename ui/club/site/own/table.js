// The table's page: what is asked for, the rows that fit, and those that are chosen.
"use strict";
(() => {
  const { el, figure, mark, typed, counted, state } = gramwatt;
  const data = gramwatt.data("runs");
  const form = document.getElementById("filters");
  if (!form || !data) {
    return;
  }
  const find = (id) => document.getElementById(id);
  const rows = new gramwatt.Rows(data);
  const chosen = new Set(state.chosen().filter((id) => rows.place.has(id)));
  const NATURES = ["", "Simulated", "Invented"];
  const RATING_MARKS = ["good", "abnormal", "danger"];
  const TEXTS = ["search", "propeller", "motor", "from", "to", "weight", "motors", "thrust"];
  const CHOICES = ["size", "cells", "nature", "evidence", "ratings"];
  const COLUMNS = [
    ["article", "Article", "text"],
    ["stand", "From", "text"],
    ["specific", "g/W", "number"],
    ["full", "Full throttle, gf", "number"],
    ["ratings", "Ratings", "text"],
    ["evidence", "Evidence", "text"],
    ["day", "Date", "number"],
  ];
  const NAMES = new Set(COLUMNS.map(([name]) => name));
  // The way that a column is sorted first: what is most, or newest, comes first.
  const DOWN_FIRST = new Set(["specific", "full", "day"]);
  let sort = NAMES.has(state.get("sort")) ? state.get("sort") : "day";
  let down = state.get("sort") ? state.get("down") === "1" : true;
  let page = Math.max(0, Number.parseInt(state.get("page", "1"), 10) - 1 || 0);
  let fitting = [];

  const FILTERS = [...CHOICES, "search", "propeller", "motor", "from", "to"];
  const ORDER = "The order is no verdict: choose runs to have them held against each other.";
  const plain = (value) => String(Number(value.toPrecision(4)));

  // ---------------------------------------------------------------- filters

  function options(select, first, several) {
    select.replaceChildren(el("option", { value: "" }, first),
      ...several.map(([value, words]) => el("option", { value }, words)));
  }

  const count = (column) => {
    const found = new Map();
    for (const value of data[column]) {
      found.set(value, (found.get(value) || 0) + 1);
    }
    return [...found].sort(([a], [b]) => a - b);
  };

  function fill() {
    options(find("size"), "any", count("size_in").map(([size, many]) => [size, `${size} in (${many})`]));
    options(find("cells"), "any", count("cells").map(([cells, many]) =>
      [cells, `${cells ? counted(cells, "cell") : "supply"} (${many})`]));
    const natures = ["measured", "simulated, not measured", "invented, not measured"];
    options(find("nature"), "all", count("nature").map(([nature, many]) => [nature, `${natures[nature]} (${many})`]));
    options(find("evidence"), "any", [
      ["0", "thrust by weights of a class"],
      ["1", "thrust by weights of a class or coins"],
      ["2", "thrust calibrated by anything"],
      ["raw", "record re-read"],
    ]);
    options(find("ratings"), "any", [
      ["0", "within all that are stated"],
      ["1", "cannot tell"],
      ["2", "beyond one"],
      ["3", "none stated"],
    ]);
    for (const [list, column] of [["propellers", "propeller"], ["all-motors", "motor"]]) {
      const texts = [...new Set(data[column])].map((at) => data.texts[at]).sort();
      find(list).replaceChildren(...texts.slice(0, 300).map((value) => el("option", { value })));
    }
  }

  function recall() {
    const [weight, motors] = data.hover;
    const usual = { weight: String(weight), motors: String(motors) };
    for (const name of [...TEXTS, ...CHOICES]) {
      find(name).value = state.get(name, usual[name] || "");
    }
    for (const name of CHOICES) {
      if (find(name).selectedIndex < 0) {
        find(name).value = "";
      }
    }
    find(state.get("at") === "thrust" ? "at-thrust" : "at-hover").checked = true;
    const several = state.get("rows");
    if (["25", "50", "100"].includes(several)) {
      find("several").value = several;
    }
  }

  function remember() {
    const [weight, motors] = data.hover;
    const usual = { weight: String(weight), motors: String(motors) };
    for (const name of [...TEXTS, ...CHOICES]) {
      const value = find(name).value;
      state.set(name, value === (usual[name] || "") ? "" : value);
    }
    state.set("at", find("at-thrust").checked ? "thrust" : "");
    state.set("sort", sort === "day" && down ? "" : sort);
    state.set("down", sort === "day" || !down ? "" : "1");
    state.set("page", page ? page + 1 : "");
    state.set("rows", find("several").value === "50" ? "" : find("several").value);
    state.choose([...chosen]);
    state.write();
  }

  // What was typed, or why it is none.
  function asked() {
    const faults = [];
    const number = (name, words) => {
      const value = typed(find(name).value);
      const wrong = Number.isNaN(value);
      find(name).toggleAttribute("aria-invalid", wrong);
      if (wrong) {
        find(name).setAttribute("aria-invalid", "true");
        find(name).setAttribute("aria-describedby", "fault");
        faults.push(`${words} must be a number above zero.`);
      }
      return wrong ? null : value;
    };
    const hover = find("at-hover").checked;
    const weight = hover ? number("weight", "The all-up weight") : null;
    let motors = hover ? number("motors", "The number of motors") : null;
    if (motors !== null && !(Number.isInteger(motors) && motors <= 12)) {
      faults.push("The number of motors must be a whole one, 12 at most.");
      motors = null;
    }
    const thrust = hover ? (weight !== null && motors !== null ? weight / motors : null) : number("thrust", "The thrust");
    const from = number("from", "The least thrust");
    const to = number("to", "The largest thrust");
    find("fault").textContent = faults.join(" ");
    const choices = Object.fromEntries([...CHOICES, "search", "propeller", "motor"].map((name) => [name, find(name).value]));
    return { ...choices, from, to, thrust, weight, motors, hover };
  }

  // ---------------------------------------------------------------- headings

  function specificWords(now) {
    if (now.thrust === null) {
      return "g/W";
    }
    return now.hover
      ? `g/W at hover, ${find("weight").value.trim()}\u00a0g on ${find("motors").value.trim()}`
      : `g/W at ${find("thrust").value.trim()}\u00a0gf`;
  }

  function headings(now) {
    const made = COLUMNS.map(([name, words, kind]) => {
      const sorted = sort === name;
      const shown = name === "specific" ? specificWords(now) : words;
      const button = el("button", { type: "button", "data-sort": name },
        el("span", {}, shown),
        el("span", { class: "way", "aria-hidden": "true" }, sorted ? (down ? "\u25be" : "\u25b4") : "\u2195"));
      return el("th", {
        scope: "col",
        role: "columnheader",
        class: kind,
        "data-of": name,
        "aria-sort": sorted ? (down ? "descending" : "ascending") : "none",
      }, button);
    });
    const focused = document.activeElement && document.activeElement.dataset.sort;
    find("headings").replaceChildren(
      el("th", { scope: "col", role: "columnheader", class: "choose" }, el("span", { class: "head" }, "Choose")), ...made);
    if (focused) {
      find("headings").querySelector(`[data-sort="${focused}"]`).focus();
    }
  }

  // ---------------------------------------------------------------- rows

  const cell = (kind, label, ...parts) => el("td", { role: "cell", class: kind, "data-label": label }, ...parts);
  const small = (text, kind) => (text ? el("small", { class: kind }, text) : null);

  function ofInterval(value, low, high, label, why, beside) {
    if (value === null) {
      return cell("number", label, small(why, "why"));
    }
    const half = (high - low) / 2;
    return cell("number", label, el("span", { class: "value" }, figure(value, half)),
      small(`${figure(low, half)} to\u00a0${figure(high, half)}`), small(beside));
  }

  // The highest throttle of a run need not be full.
  const partly = (row) => (data.full_throttle[row] < 99.5 ? `at ${data.full_throttle[row]}\u00a0% throttle` : "");

  // By keyboard the tray is a hundred tabs away from the first row: a way there.
  const jump = () => el("button", { type: "button", class: "jump" }, "Go to the chosen runs");

  function made(row, now) {
    const id = data.id[row];
    const name = rows.text("article", row);
    const nature = NATURES[data.nature[row]];
    const box = el("input", { type: "checkbox", "data-id": id, "aria-label": `Choose ${name}, ${rows.text("day", row)}` });
    box.checked = chosen.has(id);
    const cells = data.cells[row] ? counted(data.cells[row], "cell").replace(" ", "\u00a0") : "supply";
    const value = rows.value[row];
    const half = rows.half[row];
    const rank = data.ratings_rank[row];
    return el("tr", { role: "row", class: box.checked ? "chosen" : null },
      cell("choose", "", el("label", { class: "hit" }, box), box.checked ? jump() : null),
      el("th", { scope: "row", role: "rowheader", class: "text" },
        el("a", { href: `runs/${id}.html` }, name), " ",
        nature ? el("span", { class: "nature" }, nature) : null,
        small(rows.text("motor", row)),
        small(`${rows.text("propeller", row)}; ${data.diameter_mm[row]}\u00a0mm, ${cells}`)),
      cell("text", "From", rows.text("by", row) || el("span", { class: "quiet" }, "sender not named"),
        small(rows.text("stand", row)), small(rows.text("signature", row))),
      ofInterval(value, value - half, value + half, specificWords(now), rows.why(row)),
      ofInterval(data.full_gf[row], data.full_low_gf[row], data.full_high_gf[row],
        "Full throttle, gf", "not measured", partly(row)),
      cell("text ratings", "Ratings", el("span", { class: "marked" }, rank < 3 ? mark(RATING_MARKS[rank]) : null, el("span", {}, rows.text("ratings", row)))),
      cell("text evidence", "Evidence", rows.text("rests", row), small(rows.text("scale", row)), small(rows.text("record", row))),
      cell("number day", "Date", rows.text("day", row)));
  }

  function draw(now) {
    const several = Number(find("several").value);
    const last = Math.max(0, Math.ceil(fitting.length / several) - 1);
    page = Math.min(page, last);
    const begin = page * several;
    const shown = fitting.slice(begin, begin + several);
    headings(now);
    find("rows").replaceChildren(...shown.map((row) => made(row, now)));
    find("runs").hidden = !fitting.length;
    find("none").hidden = Boolean(fitting.length);
    find("paging").hidden = fitting.length <= 25;
    find("previous").disabled = page === 0;
    find("next").disabled = page === last;
    find("place").textContent = `${begin + 1} to ${begin + shown.length} of ${fitting.length.toLocaleString("en-GB")}`;
    const all = rows.count === fitting.length ? counted(rows.count, "run")
      : `${fitting.length.toLocaleString("en-GB")} of ${counted(rows.count, "run")}`;
    const without = fitting.filter((row) => rows.value[row] === null).length;
    find("count").textContent = now.thrust !== null && without && fitting.length
      ? `${all}, ${without.toLocaleString("en-GB")} without a figure at ${plain(now.thrust)} gf.` : `${all}.`;
    find("at-told").textContent = now.thrust === null ? ""
      : now.hover ? `Each motor bears ${plain(now.thrust)} gf. Read off each run's own curve, never beyond it. ${ORDER}`
        : `Read off each run's own curve, never beyond it. ${ORDER}`;
    const set = FILTERS.filter((name) => find(name).value !== "").length;
    find("filtering").textContent = set ? ` (${set} set)` : "";
    tray();
    remember();
  }

  function tray() {
    find("tray").hidden = !chosen.size;
    document.body.classList.toggle("choosing", chosen.size > 0);
    const most = chosen.size >= state.MOST_CHOSEN ? ", as many as go" : "";
    find("chosen").textContent = `${counted(chosen.size, "run")} chosen${most}.`;
    state.choose([...chosen]);
    find("compare").setAttribute("href", `compare.html#${state.text()}`);
    for (const box of find("rows").querySelectorAll("input[type=checkbox]")) {
      box.disabled = !box.checked && chosen.size >= state.MOST_CHOSEN;
    }
  }

  function look(anew) {
    const now = asked();
    if (anew) {
      page = 0;
    }
    rows.readAt(now.thrust);
    fitting = rows.sorted(rows.filtered(now), sort, down);
    draw(now);
  }

  // ---------------------------------------------------------------- what is done

  form.addEventListener("submit", (event) => event.preventDefault());
  let waiting = 0;
  form.addEventListener("input", (event) => {
    if (event.target.id === "thrust") {
      find("at-thrust").checked = true;
    } else if (event.target.id === "weight" || event.target.id === "motors") {
      find("at-hover").checked = true;
    }
    clearTimeout(waiting);
    waiting = setTimeout(() => look(true), 120);
  });
  find("headings").addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button) {
      const name = button.dataset.sort;
      down = sort === name ? !down : DOWN_FIRST.has(name);
      sort = name;
      look(true);
    }
  });
  find("rows").addEventListener("change", (event) => {
    const id = event.target.dataset.id;
    if (event.target.checked) {
      chosen.add(id);
    } else {
      chosen.delete(id);
    }
    event.target.closest("tr").classList.toggle("chosen", event.target.checked);
    const place = event.target.closest("td");
    if (event.target.checked) {
      place.append(jump());
    } else {
      place.querySelector(".jump").remove();
    }
    tray();
    remember();
  });
  find("rows").addEventListener("click", (event) => {
    if (event.target.closest(".jump")) {
      find("compare").focus();
    }
  });
  const turn = (by) => {
    page += by;
    look(false);
    find("runs").scrollIntoView({ block: "start" });
  };
  find("previous").addEventListener("click", () => turn(-1));
  find("next").addEventListener("click", () => turn(1));
  find("several").addEventListener("change", () => look(true));
  const clear = () => {
    for (const name of FILTERS) {
      find(name).value = "";
    }
    look(true);
    find("search").focus();
  };
  find("clear").addEventListener("click", clear);
  find("clear-none").addEventListener("click", clear);
  find("unchoose").addEventListener("click", () => {
    chosen.clear();
    look(false);
    find("search").focus();
  });

  fill();
  recall();
  form.hidden = false;
  // Where there is little room, the table comes first.
  find("more").open = !matchMedia("(max-width: 38rem)").matches;
  find("above").hidden = false;
  find("loading").hidden = true;
  look(false);
})();
