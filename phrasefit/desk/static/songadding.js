// --------------------------------------------------- how songs come in: dropped, picked, chosen

import { make, once, putOff, say, trouble } from "./elements.js";
import { onceLetGo } from "./letting-go.js";
import { get, post, send } from "./server.js";

/** Give the files of a drop, folders opened; to be called before the event is over. */
export async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  return entries.length ? (await Promise.all(entries.map(filesIn))).flat() : [...transfer.files];
}

/** Leave covers and texts out of what was picked or dropped. */
export function onlySongs(files, suffixes) {
  return [...files].filter((file) => suffixes.some((suffix) => file.name.toLowerCase().endsWith(suffix)));
}

async function filesIn(entry) {
  if (entry.isFile) return [await new Promise((resolve, reject) => entry.file(resolve, reject))];
  const reader = entry.createReader();
  const all = [];
  for (;;) { // a reader gives at most a hundred at a time
    const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
    if (!some.length) break;
    all.push(...some);
  }
  return (await Promise.all(all.filter((one) => !one.name.startsWith(".")).map(filesIn))).flat();
}

const counted = (n, what) => `${n} ${n === 1 ? "song" : "songs"} ${what}`;

/** Copy files to the desk, one after the other; `line` shows how far it is. */
export async function copy(files, line) {
  const troubles = [];
  let n = 0;
  for (const file of files) {
    line.hidden = false;
    line.textContent = `Copying ${++n} of ${files.length}: ${file.name}`;
    try {
      await send(`/api/songs/drop?name=${encodeURIComponent(file.name)}`, file);
    } catch (error) {
      troubles.push(`${file.name}: ${error.message}`);
    }
  }
  line.hidden = true;
  say(counted(files.length - troubles.length, "copied"));
  if (troubles.length) trouble(troubles.join("\n"));
}

/** Open the dialog in which a folder on this computer is chosen. */
export function chooseFolder(done) {
  const list = make("ul", { class: "folders" });
  const here = make("p", { class: "here" });
  const wrong = make("p", { role: "alert", class: "wrong" });
  const field = make("input", { type: "text", id: "folder-path", autocomplete: "off", spellcheck: "false",
    maxlength: "4096" });
  const up = make("button", { type: "button" }, "One folder up");
  const take = make("button", { type: "button", class: "main" }, "Add this folder");

  async function attempt(work) {
    wrong.textContent = "";
    try {
      return await work();
    } catch (error) {
      wrong.textContent = error.message;
      return undefined;
    }
  }

  let found = null;
  let turn = 0;
  const look = (inside) => attempt(async () => {
    const mine = ++turn;
    const answer = await get(`/api/songs/computer?in=${encodeURIComponent(inside)}`);
    if (mine !== turn) return; // another folder was opened meanwhile
    found = { ...answer, token: inside };
    show();
  });
  up.addEventListener("click", () => look(found.above));

  const add = (what) => attempt(async () => {
    const added = await post("/api/songs/folders", what);
    dialog.close();
    say(`${counted(added.songs, `in ${added.path}`)}, ${added.new} new`);
    done();
  });
  take.addEventListener("click", () => add({ token: found.token }));

  const form = make("form", { onsubmit: (event) => { event.preventDefault(); add({ path: field.value }); } },
    make("label", { for: "folder-path" }, "Paste or type the folder"),
    make("div", { class: "keys" }, field, make("button", {}, "Add")));
  const dialog = make("dialog", { class: "choose", "aria-labelledby": "choose-title",
    onclose: () => dialog.remove() },
    make("h2", { id: "choose-title" }, "Choose a folder"),
    make("p", {}, "Its songs are played from there; nothing is copied or changed."),
    form, wrong,
    make("p", {}, "Or find it here:"), here, list,
    make("div", { class: "keys" }, up, take,
      make("button", { type: "button", onclick: () => dialog.close() }, "Cancel")));
  const show = onceLetGo(dialog, () => {
    const wasInList = list.contains(document.activeElement);
    here.textContent = found.title;
    putOff(up, found.above === null);
    putOff(take, !found.token);
    list.replaceChildren(...found.folders.map((folder) => make("li", {},
      make("button", { type: "button", onclick: once(() => look(folder.token)) }, folder.name))));
    if (!found.folders.length) list.append(make("li", { class: "quiet" }, "No folders in here"));
    if (wasInList) (list.querySelector("button") ?? take).focus();
  });
  document.body.append(dialog);
  dialog.showModal();
  look("");
}

/** Ask whether something shall really be done. */
export function confirmed(question, yes) {
  return new Promise((resolve) => {
    let answer = false;
    const dialog = make("dialog", { "aria-labelledby": "ask-title",
      onclose: () => { dialog.remove(); resolve(answer); } },
      make("p", { id: "ask-title" }, question),
      make("p", { class: "keys" },
        make("button", { type: "button", class: "main", onclick: () => { answer = true; dialog.close(); } }, yes),
        make("button", { type: "button", onclick: () => dialog.close() }, "Cancel")));
    document.body.append(dialog);
    dialog.showModal();
  });
}
