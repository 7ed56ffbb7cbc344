// What a visitor typed and chose, kept in the address after the "#", so that it can be
// passed on and is there again on the way back. Both pages that choose share it.
"use strict";
(() => {
  const MOST_CHOSEN = 8;
  const ID = /^[0-9a-f]{16}$/;
  const kept = new URLSearchParams(location.hash.slice(1));

  function get(name, otherwise = "") {
    return (kept.get(name) ?? otherwise).slice(0, 200);
  }

  function set(name, value) {
    if (value === "" || value === null) {
      kept.delete(name);
    } else {
      kept.set(name, String(value));
    }
  }

  // Ids of runs that are chosen, each once, as many as there may be.
  function chosen() {
    const found = (kept.get("runs") || "").split(",").filter((one) => ID.test(one));
    return [...new Set(found)].slice(0, MOST_CHOSEN);
  }

  function choose(ids) {
    set("runs", ids.join(","));
  }

  const text = () => kept.toString().replaceAll("%2C", ",");

  function write() {
    const after = text();
    history.replaceState(null, "", after ? `#${after}` : location.pathname + location.search);
  }

  // Another address typed, or a link to this page: begin anew.
  addEventListener("hashchange", () => location.reload());

  gramwatt.state = { get, set, chosen, choose, text, write, MOST_CHOSEN };
})();
