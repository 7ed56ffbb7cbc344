// Curves with their bands, drawn by plotly, which is loaded when first needed. Curves go
// by letters there: no text of a stranger reaches a library that reads markup in it.
"use strict";
(() => {
  const { load, svg } = gramwatt;
  const DASHES = ["solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "8px 3px", "2px 6px"];
  const STROKES = ["", "9 6", "2 4", "9 4 2 4", "16 6", "16 4 2 4", "8 3", "2 6"];
  const MARKERS = ["circle", "square", "diamond", "triangle-up", "triangle-down", "cross", "x", "star"];
  const SHAPES = [
    "M6 2a4 4 0 1 0 .01 0z", "M2.4 2.4h7.2v7.2H2.4z", "M6 .9 11.1 6 6 11.1.9 6z", "M6 1.4 11 10H1z",
    "M6 10.6 1 2h10z", "M4.6 1h2.8v3.6H11v2.8H7.4V11H4.6V7.4H1V4.6h3.6z",
    "M2.6 1 6 4.4 9.4 1 11 2.6 7.6 6 11 9.4 9.4 11 6 7.6 2.6 11 1 9.4 4.4 6 1 2.6z",
    "M6 .5 7.5 4.3l4 .2-3.1 2.6 1 4L6 8.9l-3.4 2.2 1-4L.5 4.5l4-.2z",
  ];
  const letter = (place) => "ABCDEFGH"[place];

  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  function clear(hex, share) {
    const parts = [1, 3, 5].map((at) => Number.parseInt(hex.slice(at, at + 2), 16));
    return `rgba(${parts.join(",")},${share})`;
  }

  // A piece of the curve as it is drawn, for the list of runs.
  function sample(place) {
    return svg("svg", { class: `sample c${place + 1}`, viewBox: "0 0 44 12", "aria-hidden": "true" },
      svg("path", { class: "stroke", d: "M0 6h44", "stroke-dasharray": STROKES[place] || null }),
      svg("path", { class: "shape", d: SHAPES[place], transform: "translate(16 0)" }));
  }

  function traces(curves, look) {
    const drawn = [];
    // Many bands over each other would hide what they are about.
    const share = Math.max(0.07, 0.3 / Math.max(2, curves.length));
    curves.forEach(({ place, curve }) => {
      const line = colour(`--c${place + 1}`);
      const x = curve.x.map((value) => look.xScale * value);
      const y = curve.y.map((value) => look.yScale * value);
      const half = curve.half.map((value) => look.yScale * value);
      const high = y.map((value, at) => value + half[at]);
      const low = y.map((value, at) => Math.max(0, value - half[at]));
      drawn.push({
        x: [...x, ...x.slice().reverse()],
        y: [...high, ...low.reverse()],
        type: "scatter",
        mode: "lines",
        fill: "toself",
        fillcolor: clear(line, share),
        line: { width: 0 },
        hoverinfo: "skip",
        name: `band ${letter(place)}`,
      });
      drawn.push({
        x,
        y,
        customdata: half,
        type: "scatter",
        mode: "lines+markers",
        line: { color: line, width: 2, dash: DASHES[place] },
        marker: { symbol: MARKERS[place], size: 8, color: line, maxdisplayed: 8 },
        hovertemplate: `${letter(place)}: %{y:.3~g} \u00b1 %{customdata:.2~g} ${look.yUnit}<extra></extra>`,
        name: letter(place),
      });
    });
    return drawn;
  }

  const PLOT_HEIGHT = 0.8; // of the drawing, about: the rest is margin
  const APART_PX = 17;

  // How far each letter moves up (px), so that those of curves that end together can be
  // read.
  function lifted(curves, look, height) {
    const highs = curves.flatMap(({ curve }) => curve.y.map((value) => look.yScale * value));
    const span = Math.max(...highs) - (look.fromZero ? 0 : Math.min(...highs)) || 1;
    const xs = curves.map(({ curve }) => curve.x[curve.x.length - 1]);
    const near = 0.06 * (Math.max(...xs) - Math.min(...curves.map(({ curve }) => curve.x[0])));
    const at = curves.map(({ curve }) => ((look.yScale * curve.y[curve.y.length - 1]) / span) * PLOT_HEIGHT * height);
    const shifts = curves.map(() => 0);
    const order = curves.map((_, one) => one).sort((one, other) => at[one] - at[other]);
    order.forEach((one, place) => {
      for (const other of order.slice(0, place)) {
        const lowest = at[other] + shifts[other] + APART_PX;
        if (Math.abs(xs[one] - xs[other]) < near && at[one] + shifts[one] < lowest) {
          shifts[one] = lowest - at[one];
        }
      }
    });
    return shifts;
  }

  function layout(curves, look, width) {
    const height = width < 520 ? 360 : 460;
    const lifts = lifted(curves, look, height);
    const ink = colour("--ink");
    const axis = {
      color: ink,
      gridcolor: colour("--grid"),
      zeroline: false,
      linecolor: ink,
      ticks: "outside",
      tickcolor: ink,
      fixedrange: true,
      automargin: true,
    };
    return {
      autosize: true,
      height,
      margin: { l: 56, r: 24, t: 12, b: 56 },
      paper_bgcolor: "rgba(0,0,0,0)",
      plot_bgcolor: "rgba(0,0,0,0)",
      font: { family: colour("--sans") || "sans-serif", size: 14, color: ink },
      showlegend: false,
      hovermode: "x unified",
      hoverlabel: { bgcolor: colour("--sheet"), bordercolor: colour("--rule"), font: { color: ink } },
      xaxis: { ...axis, title: { text: look.xWords }, hoverformat: ".3~g" },
      yaxis: { ...axis, title: { text: look.yWords }, rangemode: look.fromZero ? "tozero" : "normal" },
      annotations: curves.map(({ place, curve }, at) => ({
        x: look.xScale * curve.x[curve.x.length - 1],
        y: look.yScale * curve.y[curve.y.length - 1],
        text: letter(place),
        showarrow: false,
        xanchor: "left",
        xshift: 8,
        yshift: lifts[at],
        font: { color: colour(`--c${place + 1}`), size: 15 },
      })),
    };
  }

  // Draw curves, or draw them anew.
  async function draw(node, curves, look) {
    await load("own/plotly.min.js");
    const config = { displayModeBar: false, responsive: true, displaylogo: false, staticPlot: false, doubleClick: false, showTips: false };
    await window.Plotly.react(node, traces(curves, look), layout(curves, look, node.clientWidth), config);
  }

  gramwatt.chart = { draw, sample, letter };
})();
