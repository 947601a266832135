// The rider: a file in the shelf's folder, or this form.

import * as api from "./api.js";
import { h, notify, notifyProblem, textField as text } from "./dom.js";

const COMPLAINTS = [
  ["hip-pain", "pain in the hips"], ["numb-feet", "numb feet"], ["pressure-in-front", "pressure in front"],
  ["chafing-in-front", "chafing in front"], ["sliding-back", "sliding back"], ["sore-seat-bones", "sore seat bones"],
];

export async function riderView(main) {
  const { chosen, found } = await api.rider();
  const form = h("form", { class: "form", onsubmit: (event) => { event.preventDefault(); use(form); } });
  const fill = (rider) => {
    form.given = rider ?? {};
    form.replaceChildren(...fields(form.given), buttons(form, fill, offer));
  };
  const sample = { name: "Ilse Varn (invented)", pattern: "women", thighs: "rounded", seat_bones: { spacing: "128 mm", how: "imprint-centres", station: 0.68 }, horse: { channel: "80 mm", channel_most: "95 mm" } };
  const place = h("div", {});
  const offer = (found) => place.replaceChildren(found.length
    ? h("p", {}, h("label", { for: "found" }, "Saved riders "),
      h("select", { id: "found", onchange: (event) => fill(found[event.target.value]?.rider) },
        h("option", { value: "" }, "choose"), found.map((f, i) => h("option", { value: i }, f.rider.name ?? f.file))))
    : h("p", { class: "fine" }, "No rider is saved on the shelf yet. Fill in the form, or ",
      h("button", { type: "button", id: "sample-rider", onclick: () => fill(sample) }, "try an invented rider")));
  fill(chosen);
  offer(found);
  main.replaceChildren(h("section", { class: "page" },
    h("h1", {}, "Rider and horse"),
    h("p", { class: "lead" }, "Leave empty what you do not know; it is not judged. Verdicts on the photos and on the shelf are for this rider."),
    place, form));
}

function fields(rider) {
  const choice = (name, label, value, options) => h("p", {}, h("label", { for: name }, label),
    h("select", { id: name, name }, [["", "not known"], ...options].map(([v, words]) => h("option", { value: v, selected: v === (value ?? "") }, words))));
  return [
    h("fieldset", {}, h("legend", {}, "The rider"),
      text("name", "Name in reports", rider.name),
      text("date", "Date", rider.date, "such as 2026-05-02"),
      choice("pattern", "Compare with the trade’s pattern for", rider.pattern, [["women", "women"], ["men", "men"], ["none", "neither"]]),
      choice("thighs", "Inner thighs", rider.thighs, [["rounded", "rounded"], ["flat", "flat"]])),
    h("fieldset", {}, h("legend", {}, "Seat bones"),
      text("seat_bones.spacing", "Spacing", rider.seat_bones?.spacing, "128, 12.8 cm or 5 in; without a unit in mm"),
      choice("seat_bones.how", "How it was measured", rider.seat_bones?.how, [
        ["imprint-centres", "between the centres of two dents in a board"], ["imprint-outer", "between the outer rims of the dents"],
        ["by-hand", "felt by hand, between the centres"], ["clinical", "from an examination or a scan"]]),
      text("seat_bones.station", "Where along the seat", rider.seat_bones?.station, "from 0 (front end) to 1 (rear end), such as 0.68")),
    h("fieldset", {}, h("legend", {}, "Hand"),
      text("hand.four_fingers", "Four fingers held together", rider.hand?.four_fingers, "across the middle knuckles, such as 72 mm"),
      text("hand.finger", "Or one finger", rider.hand?.finger, "such as 18 mm")),
    h("fieldset", {}, h("legend", {}, "Horse"),
      text("horse.name", "Name", rider.horse?.name),
      text("horse.date", "Measured on", rider.horse?.date, "such as 2026-05-02"),
      text("horse.channel", "Channel over the spine, at least", rider.horse?.channel, "such as 80 mm, or 3 fingers"),
      text("horse.channel_most", "At most", rider.horse?.channel_most, "where the panels still lie on the muscle"),
      text("horse.panel", "Width of one panel", rider.horse?.panel, "the width you want, such as 90 mm")),
    h("fieldset", {}, h("legend", {}, "Load"),
      text("load.rider", "Rider’s weight", rider.load?.rider, "in kg or lb"), text("load.saddle", "Saddle’s weight", rider.load?.saddle, "in kg or lb")),
    h("fieldset", { class: "choice" }, h("legend", {}, "What the rider feels"), COMPLAINTS.map(([id, words]) =>
      h("label", {}, h("input", { type: "checkbox", name: "complaints", value: id, checked: rider.complaints?.includes(id) }), ` ${words}`))),
  ];
}

function buttons(form, fill, offer) {
  return h("div", {}, h("p", { class: "buttons" }, h("button", { type: "submit", class: "primary", id: "use-rider" }, "Judge for this rider"),
    h("button", { type: "button", id: "keep-rider", onclick: () => keep(form, offer, false) }, "Save on the shelf"),
    h("button", { type: "button", class: "quiet", id: "no-rider", onclick: async () => { fill({}); await use(form); } }, "No rider")),
  h("p", { id: "rider-kept", role: "status" }));
}

/** The rider of the form; entries of a rider file without a field stay. */
function riderOf(form) {
  const rider = structuredClone(form.given);
  rider.complaints = [];
  for (const [name, value] of new FormData(form)) {
    const [first, second] = name.split(".");
    if (name === "complaints") rider.complaints.push(value);
    else if (!second) rider[first] = value;
    else (rider[first] ??= {})[second] = name === "seat_bones.station" && value !== "" ? Number(value) : value;
  }
  if (!rider.complaints.length) delete rider.complaints;
  return rider;
}

async function use(form) {
  try {
    const { chosen } = await api.chooseRider(riderOf(form));
    notify(chosen ? `Saddles are now judged for ${chosen.name ?? "this rider"}.` : "Saddles are now judged without a rider.");
  } catch (problem) {
    notifyProblem(problem);
  }
}

async function keep(form, offer, replace) {
  const place = document.getElementById("rider-kept");
  try {
    const { file, chosen, found } = await api.keepRider(riderOf(form), replace);
    offer(found);
    place.textContent = `Saved as ${file}. Saddles are now judged for ${chosen.name}.`;
  } catch (problem) {
    place.replaceChildren(`${problem.text}: ${problem.hint}. `);
    if (problem.status === 412) place.append(h("button", { type: "button", id: "replace-rider", onclick: () => keep(form, offer, true) }, "Replace it"));
  }
}
