// The rider: chosen from the files in the shelf's folder, or filled in here.

import * as api from "./api.js";
import { h, say } from "./dom.js";

const COMPLAINTS = [
  ["hip-pain", "hips hurt"], ["numb-feet", "feet go numb"], ["pressure-in-front", "pressure in front"],
  ["chafing-in-front", "chafing in front"], ["sliding-back", "slides back"], ["sore-seat-bones", "sore seat bones"],
];

export async function riderView(main) {
  const { chosen, found } = await api.rider();
  const form = h("form", { class: "form", onsubmit: (event) => { event.preventDefault(); use(form); } });
  const fill = (rider) => {
    form.given = rider ?? {};
    form.replaceChildren(...fields(form.given), buttons(form, fill, offer));
  };
  const sample = { name: "Ilse Varn (invented)", pattern: "women", thighs: "rounded", seat_bones: { spacing: "128 mm", how: "imprint-centres", station: 0.68 }, horse: { channel: "3 fingers" } };
  const place = h("div", {});
  const offer = (found) => place.replaceChildren(found.length
    ? h("p", {}, h("label", { for: "found" }, "From the shelf’s folder "),
      h("select", { id: "found", onchange: (event) => fill(found[event.target.value]?.rider) },
        h("option", { value: "" }, "choose"), found.map((f, i) => h("option", { value: i }, f.rider.name ?? f.file))))
    : h("p", { class: "fine" }, "There is no rider file in the shelf’s folder; fill in the form, or ",
      h("button", { type: "button", id: "sample-rider", onclick: () => fill(sample) }, "fill in an invented rider")));
  fill(chosen);
  offer(found);
  main.replaceChildren(h("section", { class: "page" },
    h("h1", {}, "Rider and horse"),
    h("p", { class: "lead" }, "Every field may stay empty: what is not known is not judged. The verdicts on every photo and on the shelf are for the rider chosen here."),
    place, form));
}

function fields(rider) {
  const text = (name, label, value, help) => h("p", {}, h("label", { for: name }, label),
    h("input", { id: name, name, type: "text", value: value ?? "", "aria-describedby": help && `${name}-help` }),
    help && h("small", { id: `${name}-help` }, help));
  const choice = (name, label, value, options) => h("p", {}, h("label", { for: name }, label),
    h("select", { id: name, name }, [["", "not said"], ...options].map(([v, words]) => h("option", { value: v, selected: v === (value ?? "") }, words))));
  return [
    h("fieldset", {}, h("legend", {}, "The rider"),
      text("name", "Name in reports", rider.name),
      choice("pattern", "The trade’s rules for", rider.pattern, [["women", "women"], ["men", "men"], ["none", "neither"]]),
      choice("thighs", "Inner thighs", rider.thighs, [["rounded", "rounded"], ["flat", "flat"]])),
    h("fieldset", {}, h("legend", {}, "Seat bones"),
      text("seat_bones.spacing", "How far apart", rider.seat_bones?.spacing, "with its unit: 128 mm or 5 in"),
      choice("seat_bones.how", "How it was taken", rider.seat_bones?.how, [
        ["imprint-centres", "between the centres of two dents in a board"], ["imprint-outer", "between the outer rims of the dents"],
        ["by-hand", "felt by hand, between the centres"], ["clinical", "from an examination or a scan"]]),
      text("seat_bones.station", "Where along the seat", rider.seat_bones?.station, "0 is the front end, 1 the rear end; 0.68 for instance")),
    h("fieldset", {}, h("legend", {}, "Hand and horse"),
      text("hand.finger", "One finger of the rider’s hand", rider.hand?.finger, "across the middle knuckle: 18 mm"),
      text("horse.channel", "Room over the horse’s spine", rider.horse?.channel, "80 mm, or 3 fingers"),
      text("horse.panel", "Width of one panel", rider.horse?.panel, "that you want: 90 mm")),
    h("fieldset", {}, h("legend", {}, "Load"),
      text("load.rider", "Rider’s mass", rider.load?.rider, "with its unit: 68 kg"), text("load.saddle", "Saddle’s mass", rider.load?.saddle, "with its unit: 8 kg")),
    h("fieldset", { class: "choice" }, h("legend", {}, "What the rider feels"), COMPLAINTS.map(([id, words]) =>
      h("label", {}, h("input", { type: "checkbox", name: "complaints", value: id, checked: rider.complaints?.includes(id) }), ` ${words}`))),
  ];
}

function buttons(form, fill, offer) {
  return h("div", {}, h("p", { class: "buttons" }, h("button", { type: "submit", class: "primary", id: "use-rider" }, "Judge for this rider"),
    h("button", { type: "button", id: "keep-rider", onclick: () => keep(form, offer, false) }, "Save in the shelf’s folder"),
    h("button", { type: "button", class: "quiet", id: "no-rider", onclick: async () => { fill({}); await use(form); } }, "No rider")),
  h("p", { id: "rider-kept", role: "status" }));
}

/** What the form says, over what a rider file said that the form has no field for. */
function said(form) {
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
    const { chosen } = await api.chooseRider(said(form));
    say(chosen ? `Saddles are judged for ${chosen.name ?? "this rider"} now.` : "Saddles are judged for nobody in particular.");
  } catch (trouble) {
    say(`${trouble.text}. ${trouble.hint}`);
  }
}

async function keep(form, offer, replace) {
  const place = document.getElementById("rider-kept");
  try {
    const { file, chosen, found } = await api.keepRider(said(form), replace);
    offer(found);
    place.textContent = `Saved as ${file}. Saddles are judged for ${chosen.name} now.`;
  } catch (trouble) {
    place.replaceChildren(`${trouble.text}: ${trouble.hint}. `);
    if (trouble.status === 412) place.append(h("button", { type: "button", id: "replace-rider", onclick: () => keep(form, offer, true) }, "Replace it"));
  }
}
