// Two pictures moved together: chosen without loading the view again, zoomed,
// panned, and one over the other with a divider.
"use strict";
(() => {
  const pair = document.getElementById("pair");
  if (!pair) return;
  const tools = document.getElementById("tools");
  const strip = document.getElementById("strip");
  const part = document.getElementById("part");
  const scaleText = document.getElementById("scale");
  const base = pair.dataset.picture;
  const sides = {};
  for (const figure of pair.querySelectorAll("figure")) {
    sides[figure.dataset.side] = { figure, window: figure.querySelector(".window"), img: figure.querySelector("img") };
  }
  const cut = document.createElement("div");
  cut.className = "cut";
  pair.append(cut);
  tools.hidden = false;

  // Where both pictures are: how far they are zoomed, and what is moved out of the
  // window, in shares of it, so that it is the same for both.
  let scale = 1, x = 0, y = 0, fine = false, waiting = false, drawn = "";

  // draw is called once a frame at most. Where only x and y are others than before, it
  // touches nothing but the pictures' places: nothing is laid out again.
  function draw() {
    waiting = false;
    const place = `translate(${x * 100}%, ${y * 100}%) scale(${scale})`;
    for (const s of Object.values(sides)) s.img.style.transform = place;
    const rest = [scale, part.value, pair.className].join(" ");
    if (rest === drawn) return;
    drawn = rest;
    scaleText.textContent = Math.round(scale * 100) + " %";
    const over = pair.classList.contains("over");
    tools.classList.toggle("over", over);
    const right = sides.right.window, share = part.value / 100;
    right.style.clipPath = over ? `inset(0 0 0 ${share * 100}%)` : "";
    if (over) cut.style.transform = `translateX(${sides.left.window.offsetLeft - pair.offsetLeft + share * sides.left.window.clientWidth}px)`;
    if (scale > 1.6 && !fine) {
      fine = true;
      for (const s of Object.values(sides)) load(s, "fine");
    }
  }
  function later() {
    if (!waiting) { waiting = true; requestAnimationFrame(draw); }
  }
  // anew is later for what may have been laid out in another way.
  function anew() {
    drawn = "";
    later();
  }
  function zoom(by, atX = 0.5, atY = 0.5) {
    const was = scale;
    scale = Math.min(12, Math.max(1, scale * by));
    x = atX - (atX - x) * scale / was;
    y = atY - (atY - y) * scale / was;
    move(0, 0);
  }
  function move(byX, byY) {
    x = Math.min(0, Math.max(1 - scale, x + byX));
    y = Math.min(0, Math.max(1 - scale, y + byY));
    later();
  }

  // load shows another size once it is there, and the one before until then.
  function load(s, size) {
    const key = s.img.dataset.key, next = new Image();
    next.onload = () => { if (s.img.dataset.key === key) { s.img.src = next.src; s.window.classList.remove("failed"); } };
    next.onerror = () => { if (s.img.dataset.key === key && size === "large") failed(s); };
    next.src = base + size + "/" + key;
  }
  // failed says why a picture cannot be shown.
  function failed(s) {
    s.window.classList.add("failed");
    let why = s.window.querySelector(".why");
    if (!why) {
      why = document.createElement("p");
      why.className = "why";
      s.window.append(why);
    }
    why.textContent = "This picture cannot be shown.";
    fetch(base + "large/" + s.img.dataset.key).then((r) => r.ok || (r.headers.get("Content-Type") || "").indexOf("text/plain") !== 0 ? null : r.text())
      .then((t) => { if (t) why.textContent = t; }).catch(() => {});
  }
  for (const s of Object.values(sides)) {
    s.img.addEventListener("error", () => failed(s));
    s.img.addEventListener("load", () => { const why = s.window.querySelector(".why"); if (why) why.remove(); s.window.classList.remove("failed"); });
    if (s.img.complete && s.img.naturalWidth === 0) failed(s);
  }

  function items() { return Array.from(strip.children); }
  // choose puts a picture of the strip to one side.
  function choose(side, key) {
    const li = items().find((i) => i.dataset.key === key), s = sides[side];
    if (!li) return;
    s.img.dataset.key = key;
    s.img.alt = li.dataset.alt;
    s.window.setAttribute("aria-label", (side === "left" ? "Left" : "Right") + " picture: " + li.dataset.alt);
    s.figure.querySelector(".visit").textContent = li.dataset.visit;
    fine = false;
    load(s, "large");
    for (const i of items()) i.removeAttribute("data-" + side);
    li.setAttribute("data-" + side, "");
    // Earlier and later are told from the strip now.
    const at = items().indexOf(li);
    for (const a of s.figure.querySelectorAll("[data-word]")) {
      const step = { Earlier: -1, Later: 1 }[a.dataset.word];
      if (step) {
        const to = items()[at + step];
        a.dataset.key = to ? to.dataset.key : key;
        if (to) a.removeAttribute("aria-disabled"); else a.setAttribute("aria-disabled", "true");
      }
    }
    remember();
    anew();
  }
  function remember() {
    const q = new URLSearchParams(location.search);
    q.set("left", sides.left.img.dataset.key);
    q.set("right", sides.right.img.dataset.key);
    if (pair.classList.contains("over")) q.set("how", "over"); else q.delete("how");
    history.replaceState(null, "", "?" + q);
  }
  document.addEventListener("click", (e) => {
    if (e.button || e.ctrlKey || e.metaKey || e.shiftKey || e.altKey) return;
    const a = e.target.closest("a");
    if (a && a.dataset.side) {
      e.preventDefault();
      choose(a.dataset.side, a.dataset.key);
    } else if (a && a.dataset.how) {
      e.preventDefault();
      const over = a.dataset.how === "over";
      pair.classList.toggle("over", over);
      pair.classList.toggle("beside", !over);
      for (const b of document.querySelectorAll("[data-how]")) {
        if (b === a) b.setAttribute("aria-current", "true"); else b.removeAttribute("aria-current");
      }
      remember();
      anew();
    }
  });

  document.getElementById("in").onclick = () => zoom(1.5);
  document.getElementById("out").onclick = () => zoom(1 / 1.5);
  document.getElementById("whole").onclick = () => { scale = 1; x = y = 0; later(); };
  const shift = (by) => { part.value = Number(part.value) + by; later(); };
  document.getElementById("less").onclick = () => shift(-10);
  document.getElementById("more").onclick = () => shift(10);
  part.oninput = later;

  const fingers = new Map();
  // While a finger is down, each picture is drawn once and then only moved (page.css).
  function moving() {
    for (const s of Object.values(sides)) s.img.classList.toggle("moving", fingers.size > 0);
  }
  for (const s of Object.values(sides)) {
    const w = s.window;
    w.addEventListener("pointerdown", (e) => { w.setPointerCapture(e.pointerId); fingers.set(e.pointerId, e); moving(); });
    w.addEventListener("pointermove", (e) => {
      const was = fingers.get(e.pointerId);
      if (!was) return;
      const others = Array.from(fingers.values()).filter((f) => f.pointerId !== e.pointerId);
      if (others.length > 0) {
        const o = others[0], box = w.getBoundingClientRect();
        const before = Math.hypot(was.clientX - o.clientX, was.clientY - o.clientY), now = Math.hypot(e.clientX - o.clientX, e.clientY - o.clientY);
        if (before > 0) zoom(now / before, ((e.clientX + o.clientX) / 2 - box.left) / box.width, ((e.clientY + o.clientY) / 2 - box.top) / box.height);
      } else {
        move((e.clientX - was.clientX) / w.clientWidth, (e.clientY - was.clientY) / w.clientHeight);
      }
      fingers.set(e.pointerId, e);
    });
    for (const end of ["pointerup", "pointercancel"]) w.addEventListener(end, (e) => { fingers.delete(e.pointerId); moving(); });
    w.addEventListener("wheel", (e) => {
      if (!e.ctrlKey && scale === 1 && e.deltaY > 0) return; // the view scrolls on
      e.preventDefault();
      const box = w.getBoundingClientRect();
      zoom(Math.exp(-e.deltaY / 400), (e.clientX - box.left) / box.width, (e.clientY - box.top) / box.height);
    }, { passive: false });
    w.addEventListener("keydown", (e) => {
      const step = { ArrowLeft: [0.1, 0], ArrowRight: [-0.1, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1] }[e.key];
      if (step && scale > 1) move(step[0], step[1]);
      else if (e.key === "+" || e.key === "=") zoom(1.5);
      else if (e.key === "-") zoom(1 / 1.5);
      else if (e.key === "0") { scale = 1; x = y = 0; later(); }
      else return;
      e.preventDefault();
    });
  }
  let dragging = false;
  cut.addEventListener("pointerdown", (e) => { dragging = true; cut.setPointerCapture(e.pointerId); });
  cut.addEventListener("pointermove", (e) => {
    if (!dragging) return;
    const box = sides.left.window.getBoundingClientRect();
    part.value = Math.round((e.clientX - box.left) / box.width * 100);
    later();
  });
  cut.addEventListener("pointerup", () => { dragging = false; });
  addEventListener("resize", anew);
  strip.scrollLeft = strip.scrollWidth;
  draw();
})();
