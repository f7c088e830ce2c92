// Extras only: every page works without them.
(() => {
  // A page that is not finished loads itself again.
  const again = Number(document.body.dataset.again);
  const work = document.getElementById("work");
  if (work) {
    const ask = async () => {
      try {
        const now = await (await fetch(document.body.dataset.at + "/work/state?id=" + work.dataset.id)).json();
        if (!now.running) return location.reload();
        const bar = document.getElementById("work-bar");
        if (bar) {
          bar.value = now.done;
          document.getElementById("work-done").textContent = now.done + " of " + now.parts;
        }
      } catch { /* The program was ended; what is shown stays. */ }
      setTimeout(ask, 500);
    };
    setTimeout(ask, 300);
  } else if (again > 0) {
    // Not while something is being typed.
    const reload = () => (document.querySelector("form[data-touched]") ? null : location.reload());
    setTimeout(reload, again * 1000);
  }

  // The marks of a lap in the figures lead where its line of the table leads.
  const laps = new Map();
  for (const link of document.querySelectorAll(".report tr[data-lap] a")) {
    laps.set(link.closest("tr").dataset.lap, link.href);
  }
  for (const mark of document.querySelectorAll(".report svg [data-lap]")) {
    const place = laps.get(mark.dataset.lap);
    if (!place) continue;
    mark.classList.add("opens");
    mark.addEventListener("click", () => location.assign(place));
  }

  for (const form of document.querySelectorAll("form[data-guard]")) {
    const first = new Map([...form.elements].filter((e) => e.name).map((e) => [e.name, e.dataset.was ?? e.value]));
    const note = form.querySelector(".unsaved");
    let leaving = false;
    const changed = () => [...form.elements].filter((e) => e.name && first.get(e.name) !== e.value);
    const show = () => {
      const now = new Set(changed().map((e) => e.name));
      for (const e of form.elements) {
        if (e.name) e.closest(".field")?.classList.toggle("changed", now.has(e.name));
      }
      form.toggleAttribute("data-touched", now.size > 0);
      if (note) {
        note.hidden = now.size === 0;
        note.textContent = "Not saved yet: " + now.size + (now.size === 1 ? " change" : " changes");
      }
    };

    // The program's own checks, while the form is filled in.
    let waiting = 0;
    let asked = 0;
    const check = async () => {
      const mine = ++asked;
      let said;
      try {
        const answer = await fetch(form.dataset.check, { method: "POST", body: new URLSearchParams(new FormData(form)) });
        if (!answer.ok) return;
        said = await answer.json();
      } catch { return; }
      if (mine !== asked) return;
      for (const e of form.elements) {
        const place = e.name && document.getElementById("e-" + e.name);
        if (!place) continue;
        const words = said.errors[e.name] || "";
        if (place.textContent !== words) place.textContent = words;
        e.closest(".field").classList.toggle("bad", words !== "");
        if (words) e.setAttribute("aria-invalid", "true"); else e.removeAttribute("aria-invalid");
      }
      for (const item of form.querySelectorAll(".look-at li")) item.hidden = !said.errors[item.dataset.of];
      const elsewhere = form.querySelector("#elsewhere");
      if (elsewhere) {
        elsewhere.textContent = said.elsewhere || "";
        elsewhere.hidden = !said.elsewhere;
      }
      if (said.found) found(said.found);
    };
    form.addEventListener("input", () => {
      show();
      if (!form.dataset.check) return;
      clearTimeout(waiting);
      waiting = setTimeout(check, 400);
    });
    form.addEventListener("submit", () => { leaving = true; });
    addEventListener("beforeunload", (event) => {
      if (!leaving && changed().length > 0) event.preventDefault();
    });
    // A browser that goes back brings typed values with it.
    addEventListener("pageshow", () => { leaving = false; show(); });
  }

  // What a plan finds, as it stands in the fields.
  const found = (now) => {
    for (const [id, words] of [["found-refused", now.refused], ["found-not-separable", now.not_separable]]) {
      const place = document.getElementById(id);
      place.textContent = words;
      place.hidden = !words;
    }
    const body = document.querySelector("#found tbody");
    body.replaceChildren(...now.lines.map((line) => {
      const row = document.createElement("tr");
      row.append(Object.assign(document.createElement("th"), { scope: "row", textContent: line.what }));
      for (const text of [line.watts, line.crr, line.cda_m2]) {
        row.append(Object.assign(document.createElement("td"), { className: "n", textContent: text }));
      }
      return row;
    }));
  };
})();
