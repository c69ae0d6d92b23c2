// Forms that were sent without a network. They are kept in this browser and
// sent once, with the same key, as soon as that is possible: the server knows a
// key it has seen, so that nothing is counted twice. On every page, for a
// person who has gone on must not lose what was entered.
"use strict";

const outbox = (() => {
  // Whoever is signed in sees and sends their own, also where a phone is shared.
  const person = document.body.dataset.person || "";
  const forms = "brakewear:form:";
  const prefix = forms + person + ":";
  // Seconds between tries while the network is down; the last one stays.
  const pauses = [3, 5, 10, 20, 30];
  let tries = 0;
  let timer = 0;

  const read = (vehicle) => {
    try {
      return JSON.parse(localStorage.getItem(prefix + vehicle)) || null;
    } catch {
      return null;
    }
  };
  // write says whether the browser keeps it.
  const write = (vehicle, entry) => {
    try {
      if (entry) localStorage.setItem(prefix + vehicle, JSON.stringify(entry));
      else localStorage.removeItem(prefix + vehicle);
      return true;
    } catch {
      return false;
    }
  };
  // present notes who is signed in. What pages of somebody else are kept go.
  const mark = "brakewear:person";
  let cleared;
  const present = () => {
    try {
      if (!person) return;
      if (localStorage.getItem(mark) === person) return;
      localStorage.setItem(mark, person);
      cleared = window.caches?.delete("brakewear-pages").catch(() => false);
    } catch { /* no storage, so nothing is kept */ }
  };
  present(); // before a page asks for what is kept
  // isPresent says whether nobody else has signed in meanwhile, in another tab: theirs
  // is the name that anything would be sent under.
  const isPresent = () => {
    try {
      return localStorage.getItem(mark) === person;
    } catch {
      return false;
    }
  };
  // kept lists the forms of which this is true.
  const kept = (is) => {
    const found = [];
    try {
      for (let i = 0; i < localStorage.length; i++) {
        const key = localStorage.key(i);
        if (!key.startsWith(prefix)) continue;
        const vehicle = key.slice(prefix.length);
        const entry = read(vehicle);
        if (entry && is(entry)) found.push({ vehicle, entry });
      }
    } catch { /* no storage, so nothing is kept */ }
    return found;
  };
  // waiting are to be sent; returned were, and a person has to look at them.
  const waiting = () => kept((entry) => entry.body);
  const returned = () => kept((entry) => !entry.body && entry.answer);

  const tell = (name, detail) => dispatchEvent(new CustomEvent("outbox:" + name, { detail }));

  // send sends one form. It says what became of it: "sent", "back" where a
  // person has to look at it, or "later".
  const send = async (vehicle, entry) => {
    let response, answer;
    try {
      response = await fetch(entry.to, {
        method: "POST",
        headers: { Accept: "application/json", "Content-Type": "application/x-www-form-urlencoded" },
        body: entry.body,
        signal: AbortSignal.timeout(30000),
      });
      answer = await response.json().catch(() => null);
    } catch {
      return "later";
    }
    // Taken back meanwhile: then this answer is of no more use.
    if (read(vehicle)?.body !== entry.body) return "back";
    if (response.ok && answer && answer.to) {
      write(vehicle, null);
      tell("sent", { vehicle, number: entry.number, to: answer.to });
      return "sent";
    }
    // Sent on to a page to sign in, or a server that cannot just now.
    if (response.ok || response.status >= 500 || [401, 408, 429].includes(response.status) || response.status === 403 && !answer) {
      entry.why = response.ok || response.status === 401 ? "sign in" : "";
      write(vehicle, entry);
      return "later";
    }
    delete entry.body;
    if (answer && answer.key) entry.key = answer.key;
    entry.answer = answer || { message: "It was not taken (" + response.status + "): load the page again." };
    write(vehicle, entry);
    tell("back", { vehicle, number: entry.number });
    return "back";
  };

  const sendAll = async () => {
    clearTimeout(timer);
    if (!isPresent()) {
      for (const { vehicle, entry } of waiting()) write(vehicle, { ...entry, why: "sign in" });
      return show();
    }
    let later = false;
    for (const { vehicle, entry } of waiting()) {
      later = (await send(vehicle, entry)) === "later" || later;
    }
    tries = later ? tries + 1 : 0;
    if (later) timer = setTimeout(flush, 1000 * pauses[Math.min(tries, pauses.length) - 1]);
    show();
  };

  // flush sends what waits, in one tab at a time.
  let busy = null;
  const flush = () => {
    busy ??= (navigator.locks
      ? navigator.locks.request("brakewear-outbox", { ifAvailable: true }, (lock) => {
          if (lock) return sendAll();
          timer = setTimeout(flush, 3000); // another tab is at it
        })
      : sendAll()
    ).finally(() => { busy = null; });
    return busy;
  };

  // show says on every page what waits, and what came back while nobody was
  // looking at it.
  const show = () => {
    const forms = waiting();
    tell("state", forms);
    const elsewhere = !document.querySelector("form.measure");
    say("outbox", elsewhere ? forms : [], (n) => (n === 1 ? "1 form is" : n + " forms are") + " kept on this phone, not sent yet: ",
      ". They are sent by themselves when that is possible.");
    const here = [...document.querySelectorAll("form.measure, form[data-keep]")].map((f) => f.dataset.vehicle || f.dataset.keep);
    const away = returned().filter(({ vehicle }) => !here.includes(vehicle));
    const ofHere = ({ entry }) => [location.pathname, location.pathname + location.search].includes(entry.page || entry.to);
    for (const p of document.querySelectorAll("p.lost")) p.remove();
    away.filter(ofHere).forEach(tellLost);
    say("returned", away.filter((x) => !ofHere(x)),
      (n) => (n === 1 ? "1 form was" : n + " forms were") + " sent and not taken: ", ". What was entered is kept on this phone: look at it there, and send it again.");
  };
  // tellLost says what was entered in a form that its page has no more, such as one of a
  // card that was closed meanwhile: to be read, and then thrown away.
  const tellLost = ({ vehicle, entry }) => {
    const p = document.createElement("p");
    p.className = "lost notice";
    p.setAttribute("role", "status");
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = "Throw away";
    button.addEventListener("click", () => {
      write(vehicle, null);
      show();
    });
    const why = entry.answer.message || entry.answer.detail || "load the page again";
    const values = Object.entries(entry.values || {}).filter(([name, value]) => String(value) || name.startsWith("state_"))
      .map(([name, value]) => name.replace(/[_-]/g, " ") + ": " + (String(value) || "not entered"));
    p.append(entry.number + " was sent and not taken, and its form is no longer here: " + why.replace(/\.$/, "") +
      ". What was entered is kept on this phone: " + values.join("; ") + ". ", button);
    document.querySelector("main").prepend(p);
  };
  const say = (name, forms, words, end) => {
    let bar = document.querySelector("p." + name);
    if (forms.length === 0) {
      bar?.remove();
      return;
    }
    if (!bar) {
      bar = document.createElement("p");
      bar.className = name + " notice";
      bar.setAttribute("role", "status");
      document.querySelector("main").prepend(bar);
    }
    const links = forms.flatMap(({ entry }, i) => {
      const link = document.createElement("a");
      link.href = entry.page || entry.to;
      link.textContent = entry.number;
      return i ? [", ", link] : [link];
    });
    bar.replaceChildren(words(forms.length), ...links, end);
  };

  // others says to whoever signs in that there are forms of one who did before; not which.
  const others = () => {
    let n = 0;
    try {
      n = Object.keys(localStorage).filter((key) => key.startsWith(forms)).length;
    } catch { /* no storage, so nothing is kept */ }
    if (person || n === 0 || location.pathname !== "/sign-in") return;
    const p = document.createElement("p");
    p.className = "notice";
    p.setAttribute("role", "status");
    p.textContent = (n === 1 ? "1 form that was not sent is" : n + " forms that were not sent are") +
      " kept on this phone: whoever filled " + (n === 1 ? "it in has it" : "them in has them") + " back by signing in here.";
    document.querySelector("main").prepend(p);
  };

  // unclaimed tells of forms of an earlier version, which did not note whose they are: each
  // waits until somebody says so. What that person has of their own in such a form comes first.
  const unclaimed = () => {
    const buttons = [];
    const unowned = (key) => key.startsWith(forms) && !key.includes(":", forms.length) && !read(key.slice(forms.length));
    try {
      for (const key of person ? Object.keys(localStorage).filter(unowned) : []) {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "quiet";
        button.textContent = JSON.parse(localStorage.getItem(key)).number + ": it is mine";
        button.addEventListener("click", () => {
          if (unowned(key) && write(key.slice(forms.length), JSON.parse(localStorage.getItem(key)))) localStorage.removeItem(key);
          location.reload();
        });
        buttons.push(" ", button);
      }
    } catch { /* no storage, so nothing is kept */ }
    if (buttons.length === 0) return;
    const p = document.createElement("p");
    p.className = "unclaimed notice";
    p.setAttribute("role", "status");
    p.append("Kept on this phone since before an upgrade, not sent, and not known whose. Whoever filled a form in takes it over, and sends it.", ...buttons);
    document.querySelector("main").prepend(p);
  };

  addEventListener("online", flush);
  addEventListener("visibilitychange", () => document.visibilityState === "visible" && waiting().length && flush());
  addEventListener("outbox:sent", ({ detail }) => {
    if (document.querySelector("form.measure")?.dataset.vehicle === detail.vehicle) return;
    const note = document.createElement("p");
    note.className = "notice";
    note.setAttribute("role", "status");
    const link = document.createElement("a");
    link.href = detail.to;
    link.textContent = detail.number;
    note.append("The form that was kept on this phone is sent now: ", link, ".");
    document.querySelector("main").prepend(note);
  });
  // When the scripts of the page are there to hear of it.
  addEventListener("DOMContentLoaded", () => {
    show();
    others();
    unclaimed();
    if (waiting().length) flush();
  });
  // cleared says, in time, whether pages of somebody else were there and went.
  return { read, write, flush, cleared };
})();
