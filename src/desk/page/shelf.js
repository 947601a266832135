// The shelf: saved saddles, searched, compared and ranked.

import * as api from "./api.js";
import { h, notifyProblem } from "./dom.js";
import { fromField, inField, unit, written } from "./units.js";

const query = { name: "", view: null, width: "", least: null, most: null };
const chosen = new Set();

export async function shelfView(main) {
  const results = h("div", { id: "results" });
  const refresh = () => list(results).catch(notifyProblem);
  main.replaceChildren(h("section", { class: "page wide" }, h("h1", {}, "Shelf"), await filters(refresh), results, h("div", { id: "compared", tabindex: "-1" })));
  await refresh();
}

async function filters(refresh) {
  const { widths } = await api.search({});
  let later;
  const set = (key) => (event) => {
    query[key] = event.target.value;
    clearTimeout(later);
    later = setTimeout(refresh, 150);
  };
  const length = (key) => (event) => set(key)({ target: { value: event.target.value === "" ? null : fromField(event.target.value) } });
  const number = (key, label) => h("label", {}, `${label} `,
    h("input", { type: "number", step: "any", id: `filter-${key}`, value: query[key] === null ? "" : inField(query[key]), oninput: length(key) }), ` ${unit()}`);
  return h("form", { class: "filters", role: "search", onsubmit: (event) => event.preventDefault() },
    h("label", {}, "Name ", h("input", { type: "search", id: "filter-name", value: query.name, oninput: set("name") })),
    h("label", {}, "View ", h("select", { onchange: set("view") }, [["", "both"], ["top", "from above"], ["underside", "upside down"]].map(([v, words]) => h("option", { value: v, selected: v === (query.view ?? "") }, words)))),
    h("label", {}, "Width ", h("select", { id: "filter-width", onchange: set("width") }, [["", "any"], ...widths.map((w) => [w.name, w.label])].map(([v, words]) => h("option", { value: v, selected: v === query.width }, words)))),
    number("least", "from"), number("most", "to"));
}

async function list(place) {
  const range = query.width && { name: query.width, least_mm: query.least, most_mm: query.most };
  const { folder, all, found, skipped } = await api.search({ name: query.name, view: query.view || null, widths: range ? [range] : [] });
  for (const sheet of chosen) if (!found.some((f) => f.sheets.includes(sheet))) chosen.delete(sheet);
  const columns = ["seat.widest", "seat.waist", "channel.narrowest"];
  const labels = { "seat.widest": "widest", "seat.waist": "waist", "channel.narrowest": "channel at its narrowest" };
  const row = (one) => {
    const box = h("input", { type: "checkbox", "aria-label": `Compare ${one.saddle}`, checked: chosen.has(one.sheets[0]), onchange: (event) => { for (const sheet of one.sheets) event.target.checked ? chosen.add(sheet) : chosen.delete(sheet); } });
    const width = (name) => {
      const w = one.widths.find((x) => x.name === name);
      return h("td", { "data-label": labels[name] }, w ? [h("span", {}, written(w.shown).first), h("small", {}, written(w.shown).second)] : "–");
    };
    const open = `/api/shelf/report.html?sheet=${encodeURIComponent(one.sheets[0])}`;
    return h("tr", {}, h("td", {}, !one.refused && box),
      h("th", { scope: "row" }, one.saddle, h("small", {}, one.views.map((view) => (view === "underside" ? "upside down" : "from above")).join(" and "), one.taken ? `, ${one.taken.slice(0, 10)}` : "")),
      one.refused ? h("td", { colspan: 3 }, `refused: ${one.refused}`) : columns.map(width),
      h("td", {}, h("a", { href: open, target: "_blank", rel: "noopener" }, "report"), one.warnings > 0 && h("small", {}, `${one.warnings} to check`)));
  };
  const empty = all === 0
    ? h("p", { class: "notice" }, "The shelf is empty. Measure a photo and save it. ", h("a", { href: "#table" }, "Go to the photos"))
    : h("p", { class: "notice" }, "No saddle matches. Widen the search.");
  place.replaceChildren(h("div", {},
    h("p", { class: "fine" }, `${found.length} saddles from ${all} sheets in ${folder}. A width matches if its 95 % interval reaches into the range.`),
    found.length ? h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Saddles on the shelf" }, h("table", { class: "shelf" },
      h("thead", {}, h("tr", {}, h("td", {}, ""), h("th", { scope: "col" }, "saddle"), columns.map((c) => h("th", { scope: "col" }, labels[c])), h("td", {}, ""))),
      h("tbody", {}, found.map(row)))) : empty,
    found.length > 1 && h("p", { class: "buttons" },
      h("button", { type: "button", class: "primary", id: "compare", onclick: () => beside([...chosen]) }, "Compare the ticked ones"),
      h("button", { type: "button", id: "rank", onclick: () => beside(found.filter((f) => !f.refused).flatMap((f) => f.sheets)) }, "Rank all for the rider")),
    skipped.length > 0 && h("details", {}, h("summary", {}, `${skipped.length} files skipped`), h("ul", { class: "fine" }, skipped.map((p) => h("li", {}, p))))));
}

async function beside(sheets) {
  const place = document.getElementById("compared");
  try {
    const { comparison, standings, labels, units, judged } = await api.compare(sheets);
    const saddles = comparison.saddles;
    const number = (value, row, sign) => value === null ? "–" : ((sign && value > 0 ? "+" : "") + value.toFixed(row.decimals)).replace("-", "−");
    const cell = (c, row, i, r) => h("td", {}, c.value === null ? "–" : `${number(c.value, row)}${c.u95 === null ? "" : ` ± ${c.u95.toFixed(row.decimals)}`} ${units[r]}`,
      c.difference !== null && saddles[i].name !== comparison.reference && h("small", {}, `${number(c.difference, row, true)}${c.sure ? "" : ", uncertain"}`));
    place.replaceChildren(h("section", {}, h("h2", {}, judged ? `Side by side, for ${comparison.rider ?? "the rider"}` : "Side by side"),
      !judged && h("p", {}, "No rider is chosen, so there is no ranking. ", h("a", { href: "#rider" }, "Choose or enter a rider")),
      h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Comparison" }, h("table", { class: "compare" },
        h("thead", {}, h("tr", {}, h("td", {}, ""), saddles.map((s, i) => h("th", { scope: "col" },
          judged && s.rank !== null ? `${s.rank}. ` : "", s.name, judged && h("small", {}, standings[i]))))),
        h("tbody", {}, comparison.rows.map((row, r) => h("tr", {}, h("th", { scope: "row" }, labels[r]), row.values.map((c, i) => cell(c, row, i, r)))),
          judged && h("tr", {}, h("th", { scope: "row" }, "why"), saddles.map((s) => h("td", {}, s.reasons.map((r) => h("p", {}, r)))))))),
      h("ul", { class: "fine" }, [...comparison.notes, ...comparison.cautions].map((n) => h("li", {}, n)))));
    place.focus();
    place.scrollIntoView({ block: "start" });
  } catch (problem) {
    place.replaceChildren(h("p", { class: "notice", role: "alert" }, `${problem.text}. ${problem.hint ?? ""}`));
  }
}

