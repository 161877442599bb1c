// Keeps what is ticked on this phone as it is made, and gives it back as text. Talks to nobody.
"use strict";
(() => {
  const about = JSON.parse(document.getElementById("about").textContent);
  const KEY = `estimator-sheet-${about.key}`;
  const $ = (id) => document.getElementById(id);
  const all = (what, where = document) => [...where.querySelectorAll(what)];
  const checks = all(".check");
  const sections = all("main > section");
  const JUDGED = "told by magnet, not measured";
  const EMPTY = () => ({ checks: {}, tyres: {}, left: {}, pictures: {}, note: "", how: "in-person", badly: false, at: "" });

  // ---- keeping: the browser's storage; where there is none, the name of this tab; else only this page
  const shelf = (() => {
    try {
      const trial = `${KEY}-trial`;
      localStorage.setItem(trial, "1");
      localStorage.removeItem(trial);
      return "storage";
    } catch { return "tab"; }
  })();
  let full = false;
  function stored() {
    try {
      if (shelf === "storage") return localStorage.getItem(KEY);
      return window.name.startsWith(KEY) ? window.name.slice(KEY.length) : null;
    } catch { return null; }
  }
  function understood(text) {
    try {
      const read = JSON.parse(text);
      if (!read || typeof read !== "object" || Array.isArray(read)) return null;
      const state = { ...EMPTY(), ...read };
      for (const part of ["checks", "tyres", "left", "pictures"])
        if (!state[part] || typeof state[part] !== "object") state[part] = {};
      return state;
    } catch { return null; }
  }
  let state = understood(stored()) ?? EMPTY();
  function keep() {
    const text = JSON.stringify(state);
    full = false;
    try {
      if (shelf === "storage") localStorage.setItem(KEY, text);
      else window.name = KEY + text;
    } catch { full = true; }
    sayKept();
  }
  function sayKept() {
    const banner = $("unkept");
    banner.hidden = shelf === "storage" && !full;
    if (full) banner.textContent = "The storage of this browser is full: what you tick from now on is lost when the page is closed. Save it as a file first (last page).";
    else if (shelf === "tab") banner.textContent = "This browser keeps nothing for this page: what you tick stays only until this tab is closed. Save it as a file before you leave (last page).";
    $("kept").textContent = shelf === "storage" && !full ? "kept on this phone" : "not kept";
  }
  window.addEventListener("storage", (event) => {  // the same sheet in another tab
    if (event.key !== KEY) return;
    state = understood(event.newValue) ?? EMPTY();
    showAll();
  });
  window.addEventListener("beforeunload", (event) => {
    if ((shelf !== "storage" || full) && Object.keys(state.checks).length) event.preventDefault();
  });

  // ---- one check
  const answered = (entry) => Boolean(entry && (entry.result || entry.value));
  function entryOf(id) {
    return (state.checks[id] ??= { how: state.how, badly: state.badly });
  }
  function put(id, change) {
    const entry = Object.assign(entryOf(id), change);
    if (!answered(entry) && !entry.note) delete state.checks[id];
    keep();
    show(id);
    showCounts();
  }
  function number(text) {
    const plain = String(text).trim().replace(",", ".").replace(/^[−–]/, "-");
    return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
  }
  function fault(check, entry) {
    if (!entry?.value) return "";
    const { low, high, unit } = check.dataset;
    const value = number(entry.value);
    if (Number.isNaN(value)) return `“${entry.value}” is not a number, such as 2.5`;
    if (value < Number(low) || value > Number(high)) return `must be ${low} to ${high} ${unit}`;
    return "";
  }
  function show(id) {
    const check = $(`c-${id}`);
    if (!check) return;
    const entry = state.checks[id];
    check.classList.toggle("done", answered(entry));
    for (const box of all(".answers input", check)) box.checked = entry?.result === box.value;
    const typed = check.querySelector(".reading input");
    if (typed && typed !== document.activeElement) typed.value = entry?.value ?? "";
    for (const button of all(".judge", check)) button.setAttribute("aria-pressed", String(entry?.value === button.dataset.value));
    const wrong = check.querySelector(".wrong");
    if (wrong) { wrong.textContent = fault(check, entry); wrong.hidden = !wrong.textContent; }
    const more = check.querySelector(".more");
    if (more.open) fillMore(check, entry);
    more.querySelector("summary span").textContent = moreWords(entry);
  }
  function moreWords(entry) {
    const said = [];
    if (entry?.side && entry.side !== "both") said.push(`${entry.side} side`);
    if (entry?.sure && entry.sure !== "1") said.push($("more").content.querySelector(`[name=sure] [value="${entry.sure}"]`)?.textContent ?? "");
    if (entry?.how && entry.how !== "in-person") said.push($("how").querySelector(`[value="${entry.how}"]`).textContent);
    if (entry?.badly) said.push("badly made");
    if (entry?.note) said.push(entry.note);
    return said.length ? said.join(", ") : "Side, how sure, note";
  }
  function fillMore(check, entry) {
    const more = check.querySelector(".more");
    if (!more.querySelector(".stack")) {
      more.append($("more").content.cloneNode(true));
      more.addEventListener("input", (event) => {
        const field = event.target;
        put(check.dataset.id, { [field.name]: field.type === "checkbox" ? field.checked : field.value });
      });
    }
    for (const field of all("[name]", more)) {
      if (field === document.activeElement) continue;
      if (field.type === "checkbox") field.checked = Boolean(entry?.[field.name]);
      else field.value = entry?.[field.name] ?? field.dataset.usual;
    }
  }
  const unjudged = (id) => (state.checks[id]?.note ?? "").split("; ").filter((said) => said !== JUDGED).join("; ");
  for (const check of checks) {
    const id = check.dataset.id;
    for (const box of all(".answers input", check)) {
      box.addEventListener("click", () => {  // a second tap takes the answer back
        const same = state.checks[id]?.result === box.value;
        put(id, { result: same ? "" : box.value, value: "", auto: false });
      });
    }
    check.querySelector(".reading input")?.addEventListener("input", (event) => {
      put(id, { value: event.target.value.trim(), result: "", auto: false, note: unjudged(id) });
    });
    for (const button of all(".judge", check)) {
      button.addEventListener("click", () => {  // a second tap takes it back
        const same = state.checks[id]?.value === button.dataset.value;
        const note = same ? unjudged(id) : [unjudged(id), JUDGED].filter(Boolean).join("; ");
        put(id, { value: same ? "" : button.dataset.value, result: "", auto: false, note });
      });
    }
    const more = check.querySelector(".more");
    more.addEventListener("toggle", () => more.open && fillMore(check, state.checks[id]));
  }

  // ---- tyres: the lowest tread and the oldest tyre on the road go into their checks
  const tyreFields = all("#tyres [data-wheel]");
  function codeAge(code) {
    const digits = String(code).replace(/\D/g, "");
    if (!/^\d{3,4}$/.test(digits)) return NaN;
    const week = Number(digits.slice(0, 2));
    if (week < 1 || week > 53) return NaN;
    // four figures: week and year of this century; three: before 2000, taken as the nineties, the youngest it can be
    const year = digits.length === 4 ? 2000 + Number(digits.slice(2)) : 1990 + Number(digits.slice(2));
    const made = Date.UTC(year, 0, 1 + 7 * (week - 1));
    const age = (Date.parse(about.viewed) - made) / (365.25 * 24 * 3600e3);
    return age >= -0.05 ? Math.max(0, Math.round(age * 10) / 10) : NaN;
  }
  function tyreWords() {
    return about.wheels.map(([id, name]) => {
      const one = state.tyres[id] ?? {};
      const treads = ["inner", "middle", "outer"].map((k) => one[k] || "-");
      const said = [treads.some((t) => t !== "-") ? `${treads.join("/")} mm` : "", one.code ? `code ${one.code}` : "", one.kind ?? ""];
      return said.some(Boolean) ? `${name.toLowerCase()} ${said.filter(Boolean).join(", ")}` : "";
    }).filter(Boolean).join("; ");
  }
  function tyresChanged() {
    const road = about.wheels.map(([id]) => id).filter((id) => id !== "spare");
    const treads = road.flatMap((id) => ["inner", "middle", "outer"].map((k) => number(state.tyres[id]?.[k] ?? ""))).filter((x) => !Number.isNaN(x));
    const ages = road.map((id) => codeAge(state.tyres[id]?.code ?? "")).filter((x) => !Number.isNaN(x));
    for (const [id, values, pick] of [[about.tread, treads, Math.min], [about.age, ages, Math.max]]) {
      if (!$(`c-${id}`)) continue;
      if (values.length) put(id, { value: String(pick(...values)), result: "", auto: true });
      else if (state.checks[id]?.auto) put(id, { value: "", auto: false });
    }
    $("tyres-say").textContent = [
      treads.length ? `Lowest on the road: ${Math.min(...treads)} mm.` : "",
      ages.length ? `Oldest on the road: ${Math.max(...ages)} years.` : "",
    ].join(" ");
  }
  for (const field of tyreFields) {
    field.addEventListener("input", () => {
      (state.tyres[field.dataset.wheel] ??= {})[field.dataset.what] = field.value.trim();
      const wrong = field.value.trim() !== "" && (field.dataset.what === "code" ? Number.isNaN(codeAge(field.value))
        : field.dataset.what !== "kind" && !(number(field.value) >= 0 && number(field.value) <= 15));
      field.setAttribute("aria-invalid", String(wrong));
      $("tyres-wrong").hidden = !tyreFields.some((f) => f.getAttribute("aria-invalid") === "true");
      keep();
      tyresChanged();
    });
  }

  // ---- pictures, what was left out, notes, manner
  for (const box of all("#pictures input")) box.addEventListener("change", () => { state.pictures[box.value] = box.checked; keep(); });
  for (const pick of all("#back [data-station]")) pick.addEventListener("change", () => { state.left[pick.dataset.station] = pick.value; keep(); showBlock(); });
  $("note").addEventListener("input", () => { state.note = $("note").value; keep(); showBlock(); });
  $("how").addEventListener("change", () => { state.how = $("how").value; keep(); });
  $("badly").addEventListener("change", () => { state.badly = $("badly").checked; keep(); });

  // ---- what is listed
  const stationPick = $("station");
  function listed(check) {
    const which = $("which").value;
    const done = answered(state.checks[check.dataset.id]);
    return which === "all" || (which === "short" && "short" in check.dataset) || (which === "open" && !done) || (which === "done" && done) || (which === "stops" && check.dataset.stop);
  }
  function showList() {
    const sought = $("sought").value.toLowerCase().split(/\s+/).filter(Boolean);
    const everywhere = sought.length > 0 || $("which").value === "stops";
    let found = 0;
    for (const section of sections) {
      const own = all(".check", section);
      let some = 0;
      for (const check of own) {
        const text = (check.dataset.words ??= check.textContent.toLowerCase());
        const here = sought.every((piece) => text.includes(piece)) && listed(check);
        check.hidden = !here;
        some += here ? 1 : 0;
      }
      found += some;
      section.hidden = everywhere ? some === 0 : section.id !== stationPick.value;
      for (const part of all(".part", section)) part.hidden = !part.querySelector(".check:not([hidden])");
      const none = section.querySelector(".none");
      if (none) none.hidden = everywhere || own.length === 0 || some > 0;
    }
    $("found").textContent = sought.length ? `${found} ${found === 1 ? "check" : "checks"} with these words` : "";
    $("nothing").hidden = !everywhere || found > 0;
  }
  function go(id) {
    stationPick.value = id;
    if (stationPick.selectedIndex < 0) stationPick.selectedIndex = 0;
    state.at = stationPick.value;
    $("sought").value = "";
    if ($("which").value === "stops") $("which").value = "all";
    keep();
    showList();
    showBlock();
    const section = $(stationPick.value);
    section?.querySelector("h2")?.focus({ preventScroll: true });
    window.scrollTo(0, Math.max(0, (section?.offsetTop ?? 0) - $("top").offsetHeight - 8));
  }
  const step = (by) => go(sections[Math.min(sections.length - 1, Math.max(0, stationPick.selectedIndex + by))].id);
  $("before").addEventListener("click", () => step(-1));
  $("after").addEventListener("click", () => step(1));
  stationPick.addEventListener("change", () => go(stationPick.value));
  function searched() {
    showList();
    window.scrollTo(0, Math.min(window.scrollY, document.querySelector("main").offsetTop - $("top").offsetHeight));
  }
  $("sought").addEventListener("input", searched);
  $("which").addEventListener("change", searched);

  // ---- counts and stops
  function showCounts() {
    const done = checks.filter((check) => answered(state.checks[check.dataset.id])).length;
    $("progress").value = done;
    $("count").textContent = `${done} of ${checks.length} looked at`;
    for (const option of stationPick.options) {
      const own = all(".check", $(option.value));
      const some = own.filter((check) => answered(state.checks[check.dataset.id])).length;
      for (const beside of all(`[data-count="${option.value}"]`)) beside.textContent = `${some} of ${own.length}`;
      option.textContent = own.length ? `${option.dataset.name} · ${some}/${own.length}` : option.dataset.name;
    }
    const stops = checks.filter((check) => check.dataset.stop && state.checks[check.dataset.id]?.result === "present");
    $("stops").hidden = !stops.length;
    $("stops").replaceChildren(...stops.map((check) => {
      const line = document.createElement("p");
      line.textContent = `Stop. ${check.dataset.stop}`;
      return line;
    }));
    const waiting = checks.filter((check) => check.dataset.stop && !answered(state.checks[check.dataset.id])).length;
    $("waiting").textContent = waiting ? `${waiting} that can end it are still to be looked at: choose “stops” above.` : "";
    showBlock();
  }

  // ---- giving back: TOML, as a case file holds it
  function quoted(text) {
    const whole = Array.from(String(text), (c) => (/^[\ud800-\udfff]$/.test(c) ? "\ufffd" : c)).join("");
    return JSON.stringify(whole).replace(/[\u007f-\u009f\u2028\u2029]/g, (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, "0")}`);
  }
  function today() {
    const now = new Date();
    return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((n) => String(n).padStart(2, "0")).join("-");
  }
  function block() {
    const rows = [`# Looked at: ${about.car.replace(/[^\x20-\x7e\u00a0-\uffff]/g, " ")}`, "format = 1", "", "[sheet]",
      `key = ${quoted(about.key)}`, `car = ${quoted(about.car)}`, `made = ${today()}`];
    const left = Object.entries(state.left).filter(([, why]) => why).map(([id, why]) => `${$(id)?.dataset.name ?? id}: ${why}`);
    const pictures = Object.keys(state.pictures).filter((name) => state.pictures[name]);
    if (left.length) rows.push(`not_examined = [${left.map(quoted).join(", ")}]`);
    if (pictures.length) rows.push(`pictures = [${pictures.map(quoted).join(", ")}]`);
    const tyres = tyreWords();
    const unread = [];
    const found = [];
    let tyresSaid = false;
    const order = [...checks.map((check) => check.dataset.id), ...Object.keys(state.checks).filter((id) => !$(`c-${id}`))];
    for (const id of order) {
      const entry = state.checks[id];
      if (!entry) continue;
      const check = $(`c-${id}`);
      const wrong = check && fault(check, entry);
      if (!answered(entry) || wrong) {
        const name = check?.querySelector("h3").textContent ?? id;
        unread.push(`${name}: ${[entry.value, entry.note].filter(Boolean).join(", ")}`);
        continue;
      }
      found.push("", "[[finding]]", `check = ${quoted(id)}`);
      found.push(entry.result ? `result = ${quoted(entry.result)}` : `value = ${number(entry.value)}`);
      if (entry.sure && entry.sure !== "1" && ["present", "absent"].includes(entry.result)) found.push(`sure = ${entry.sure}`);
      if (entry.how && entry.how !== "in-person") found.push(`how = ${quoted(entry.how)}`);
      if (entry.badly) found.push("badly = true");
      if (entry.side && entry.side !== "both") found.push(`side = ${quoted(entry.side)}`);
      let note = entry.note ?? "";
      if (id === about.tread && tyres) {
        tyresSaid = true;
        if (!note.includes(tyres)) note = [note, tyres].filter(Boolean).join("; ");
      }
      if (note) found.push(`note = ${quoted(note)}`);
    }
    if (tyres && !tyresSaid) rows.push(`tyres = ${quoted(tyres)}`);
    if (unread.length) rows.push(`unread = [${unread.map(quoted).join(", ")}]`);
    if (state.note.trim()) rows.push(`note = ${quoted(state.note.trim())}`);
    $("unread").hidden = !unread.length;
    $("unread").textContent = unread.length ? `Without an answer that can be read, handed back as notes: ${unread.join("; ")}` : "";
    return [...rows, ...found, ""].join("\n");
  }
  function showBlock() {
    if (!$("back").hidden) $("block").value = block();
  }
  function say(text) { $("said").textContent = text; }
  $("save").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([block()], { type: "application/toml" }));
    link.download = about.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    say(`Saved as ${about.file}, where this browser puts what it downloads. If nothing came, copy the text below.`);
  });
  $("copy").addEventListener("click", async () => {
    $("block").value = block();
    try {
      await navigator.clipboard.writeText($("block").value);
      say("Copied. Paste it into a message or on the Inspection page.");
    } catch {
      $("block").focus();
      $("block").select();
      say(document.execCommand?.("copy") ? "Copied. Paste it into a message or on the Inspection page."
        : "The text below is marked: copy it with a long press.");
    }
  });

  // ---- taking in what this page gave back on another phone
  function unquoted(text) {
    try { return JSON.parse(text); } catch { return null; }
  }
  function takeIn(text) {
    const taken = {};
    let notes = [];
    let entry = null;
    for (const raw of text.split(/\r?\n/)) {
      const line = raw.trim();
      if (line === "[[finding]]") { entry = {}; continue; }
      const pair = /^([a-z_]+)\s*=\s*(.+)$/.exec(line);
      if (!pair) continue;
      const [, key, written] = pair;
      const value = written.startsWith('"') ? unquoted(written) : written;
      if (!entry) { if (key === "note" && value) notes.push(value); continue; }
      if (key === "check" && typeof value === "string") taken[value] = entry;
      else if (["result", "how", "side", "note"].includes(key) && typeof value === "string") entry[key] = value;
      else if (["value", "sure"].includes(key) && !Number.isNaN(number(value))) entry[key] = String(number(value));
      else if (key === "badly") entry.badly = value === "true";
    }
    const ids = Object.keys(taken).filter((id) => answered(taken[id]));
    const kept = ids.filter((id) => answered(state.checks[id]));
    for (const id of ids) if (!kept.includes(id)) state.checks[id] = taken[id];
    notes = notes.filter((note) => !state.note.includes(note));
    if (notes.length) state.note = [state.note, ...notes].filter(Boolean).join("\n");
    keep();
    showAll();
    const same = kept.length ? ` ${kept.length} had an answer here already and stay as they are.` : "";
    say(ids.length ? `${ids.length - kept.length} taken in.${same}` : "There are no findings in this text.");
  }
  $("take").addEventListener("click", () => takeIn($("pasted").value));
  $("file").addEventListener("change", async () => { if ($("file").files[0]) takeIn(await $("file").files[0].text()); });
  $("afresh").addEventListener("click", () => {
    if (!window.confirm("Take every answer off this page? Save it as a file first. It can be brought back until you tick something new.")) return;
    const old = JSON.stringify(state);
    state = { ...EMPTY(), at: state.at };
    keep();
    showAll();
    $("bring").hidden = false;
    $("bring").onclick = () => { state = understood(old); keep(); showAll(); $("bring").hidden = true; };
  });

  function showAll() {
    for (const check of checks) show(check.dataset.id);
    for (const field of tyreFields) if (field !== document.activeElement) field.value = state.tyres[field.dataset.wheel]?.[field.dataset.what] ?? "";
    for (const box of all("#pictures input")) box.checked = Boolean(state.pictures[box.value]);
    for (const pick of all("#back [data-station]")) pick.value = state.left[pick.dataset.station] ?? "";
    if ($("note") !== document.activeElement) $("note").value = state.note;
    $("how").value = state.how;
    $("badly").checked = Boolean(state.badly);
    showCounts();
    sayKept();
    showList();
  }

  for (const part of ["top", "bar"]) $(part).hidden = false;
  stationPick.replaceChildren(...sections.map((section) => {
    const option = document.createElement("option");
    option.value = section.id;
    option.dataset.name = section.dataset.name;
    return option;
  }));
  stationPick.value = sections.some((section) => section.id === state.at) ? state.at : sections[0].id;
  showAll();
})();
