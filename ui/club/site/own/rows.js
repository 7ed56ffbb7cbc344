// The table without its page: what is asked, which rows fit, in which order. Pure, but
// for what it keeps of the last question.
"use strict";
(() => {
  const { between } = gramwatt;
  const NATURES = ["measured", "simulated", "invented"];

  class Rows {
    constructor(data) {
      this.data = data;
      this.count = data.id.length;
      this.value = new Array(this.count).fill(null);
      this.half = new Array(this.count).fill(null);
      this.all = Array.from({ length: this.count }, (_, row) => row);
      this.place = new Map(data.id.map((id, row) => [id, row]));
      this.words = null;
    }

    text(column, row) {
      return this.data.texts[this.data[column][row]];
    }

    // Specific thrust of every run at one thrust (gf); nothing where that is null.
    readAt(thrustGf) {
      this.at = thrustGf;
      for (let row = 0; row < this.count; row += 1) {
        const curve = this.data.curve[row];
        const found = curve && thrustGf !== null ? between(curve[0], curve[1], thrustGf) : null;
        this.value[row] = found;
        this.half[row] = found === null ? null : between(curve[0], curve[2], thrustGf);
      }
    }

    // Why there is no figure.
    why(row) {
      const curve = this.data.curve[row];
      if (!curve) {
        return "the run has no such curve";
      }
      if (this.at === null) {
        return "type a weight or thrust above";
      }
      const low = gramwatt.figure(curve[0][0]);
      const high = gramwatt.figure(curve[0][curve[0].length - 1]);
      return `outside what was measured, ${low} to\u00a0${high}\u00a0gf`;
    }

    // All texts of a row in which words are looked for, made once.
    searched(row) {
      if (!this.words) {
        const columns = ["article", "motor", "propeller", "source", "stand", "by", "kv", "day", "rests", "record", "signature"];
        this.words = this.all.map((one) => {
          const words = columns.map((column) => this.text(column, one));
          words.push(this.data.nature[one] ? NATURES[this.data.nature[one]] : "measured");
          return words.join("\n").toLowerCase();
        });
      }
      return this.words[row];
    }

    // Rows that fit all of what is asked.
    filtered(asked) {
      const { data } = this;
      const words = asked.search.toLowerCase().split(/\s+/).filter(Boolean);
      const tests = [];
      if (words.length) {
        tests.push((row) => words.every((word) => this.searched(row).includes(word)));
      }
      for (const column of ["propeller", "motor"]) {
        const part = asked[column].trim().toLowerCase();
        if (part) {
          const fits = data.texts.map((text) => text.toLowerCase().includes(part));
          tests.push((row) => fits[data[column][row]]);
        }
      }
      if (asked.size !== "") {
        tests.push((row) => data.size_in[row] === Number(asked.size));
      }
      if (asked.cells !== "") {
        tests.push((row) => data.cells[row] === Number(asked.cells));
      }
      if (asked.from !== null) {
        tests.push((row) => data.full_gf[row] !== null && data.full_gf[row] >= asked.from);
      }
      if (asked.to !== null) {
        tests.push((row) => data.full_gf[row] !== null && data.full_gf[row] <= asked.to);
      }
      if (asked.nature !== "") {
        tests.push((row) => data.nature[row] === Number(asked.nature));
      }
      if (asked.evidence === "raw") {
        tests.push((row) => data.record_rank[row] === 0);
      } else if (asked.evidence !== "") {
        tests.push((row) => data.thrust_by[row] <= Number(asked.evidence));
      }
      if (asked.ratings !== "") {
        tests.push((row) => data.ratings_rank[row] === Number(asked.ratings));
      }
      return this.all.filter((row) => tests.every((test) => test(row)));
    }

    // Rows in the order of a column; those without a value last, whichever way.
    sorted(rows, column, down) {
      const key = this.key(column);
      const way = down ? -1 : 1;
      return rows.map((row) => [key(row), row]).sort(([one, first], [other, second]) => {
        if (one === other) {
          return first - second;
        }
        if (one === null || other === null) {
          return one === null ? 1 : -1;
        }
        return (one < other ? -1 : 1) * way;
      }).map(([, row]) => row);
    }

    // What a column is sorted by.
    key(column) {
      const { data } = this;
      if (column === "specific") {
        return (row) => this.value[row];
      }
      const numbers = { full: "full_gf", evidence: "evidence_rank", ratings: "ratings_rank" };
      if (column in numbers) {
        return (row) => data[numbers[column]][row];
      }
      const texts = { article: ["article", "motor"], stand: ["by", "stand"], day: ["day"] };
      const order = this.ranks(texts[column]);
      return (row) => order[row];
    }

    // Places of rows in the order of some texts, so that sorting compares numbers.
    ranks(columns) {
      this.ranked ??= new Map();
      const name = columns.join();
      if (!this.ranked.has(name)) {
        const { data } = this;
        const compare = new Intl.Collator("en", { numeric: true }).compare;
        const order = data.texts.map((_, at) => at).sort((a, b) => compare(data.texts[a], data.texts[b]));
        const rank = new Array(order.length);
        order.forEach((at, place) => { rank[at] = place; });
        const size = order.length + 1;
        this.ranked.set(name, this.all.map((row) =>
          columns.reduce((sum, column) => sum * size + rank[data[column][row]], 0)));
      }
      return this.ranked.get(name);
    }
  }

  gramwatt.Rows = Rows;
})();
