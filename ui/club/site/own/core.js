// What all scripts of the site share: data handed over by files, elements made of text
// alone, and figures rounded as the program rounds them. No text becomes markup here.
"use strict";
(() => {
  const MINUS = "\u2212";
  const taken = new Map();

  // A data file calls this, and does nothing else.
  function take(name, value) {
    taken.set(name, value);
  }

  function data(name) {
    return taken.get(name);
  }

  // A file of script, once; resolves when it has run.
  const loading = new Map();
  function load(src) {
    if (!loading.has(src)) {
      loading.set(src, new Promise((done, failed) => {
        const script = document.createElement("script");
        script.src = src;
        script.onload = () => done();
        script.onerror = () => {
          loading.delete(src);
          script.remove();
          failed(new Error(src));
        };
        document.head.append(script);
      }));
    }
    return loading.get(src);
  }

  const SVG = "http://www.w3.org/2000/svg";

  // An element with attributes that are named here in the code, and children that are
  // elements or text. Text stays text.
  function element(space, tag, attributes, children) {
    const made = space ? document.createElementNS(space, tag) : document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) {
      if (value !== null && value !== undefined && value !== false) {
        made.setAttribute(name, value === true ? "" : String(value));
      }
    }
    made.append(...children.flat().filter((one) => one !== null && one !== undefined && one !== ""));
    return made;
  }
  const el = (tag, attributes, ...children) => element("", tag, attributes, children);
  const svg = (tag, attributes, ...children) => element(SVG, tag, attributes, children);

  const MARKS = {
    good: ["circle", { cx: 6, cy: 6, r: 4.8 }],
    abnormal: ["path", { d: "M6 .9 11.4 10.8H.6z" }],
    danger: ["path", { d: "M3.9 1h4.2L11 3.9v4.2L8.1 11H3.9L1 8.1V3.9z" }],
  };

  // A mark beside words, never instead of them.
  function mark(kind) {
    const [tag, shape] = MARKS[kind];
    return svg("svg", { class: `mark ${kind}`, viewBox: "0 0 12 12", "aria-hidden": "true" }, svg(tag, shape));
  }

  // Two significant digits of an uncertainty, as in daq/analysis/rounding.py.
  function decimals(uncertainty) {
    if (!(Number.isFinite(uncertainty) && uncertainty > 0)) {
      return null;
    }
    let places = 1 - Math.floor(Math.log10(uncertainty));
    if (rounded(uncertainty, places) >= 10 ** (2 - places)) {
      places -= 1;
    }
    return places;
  }

  function rounded(value, places) {
    if (places >= 0) {
      return Number(value.toFixed(Math.min(places, 20)));
    }
    const size = 10 ** -places;
    const whole = Math.floor(value / size);
    const rest = value - whole * size;
    // Half goes to the even one.
    const up = rest > size / 2 || (rest === size / 2 && whole % 2 !== 0);
    return (whole + (up ? 1 : 0)) * size;
  }

  function figure(value, uncertainty) {
    if (!Number.isFinite(value)) {
      return "unknown";
    }
    let places = decimals(uncertainty);
    if (places === null) {
      if (value === 0) {
        return "0";
      }
      places = 2 - Math.floor(Math.log10(Math.abs(value)));
    }
    const shown = rounded(value, places) + 0;
    return shown.toFixed(Math.min(Math.max(places, 0), 20)).replace("-", MINUS);
  }

  // A value between the points of a curve, in straight lines; null outside them.
  function between(xs, ys, x) {
    const last = xs.length - 1;
    if (!(x >= xs[0] && x <= xs[last])) {
      return null;
    }
    let low = 0;
    let high = last;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (xs[middle] <= x) {
        low = middle;
      } else {
        high = middle;
      }
    }
    const share = (x - xs[low]) / (xs[high] - xs[low]);
    return ys[low] + share * (ys[high] - ys[low]);
  }

  // A number that somebody typed, with a comma or a point; null where it is empty, NaN
  // where it is no number above zero.
  function typed(text) {
    const plain = text.trim().replace(",", ".");
    if (plain === "") {
      return null;
    }
    const value = /^\d*\.?\d+$/.test(plain) ? Number(plain) : NaN;
    return value > 0 && value < 1e9 ? value : NaN;
  }

  const counted = (number, what) => `${number.toLocaleString("en-GB")} ${what}${number === 1 ? "" : "s"}`;

  window.gramwatt = { take, data, load, el, svg, mark, figure, between, typed, counted, MINUS };
})();
