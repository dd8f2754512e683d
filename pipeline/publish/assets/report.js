(() => {
  "use strict";
  document.documentElement.classList.add("js");
  const one = (s, at = document) => at.querySelector(s);
  const all = (s, at = document) => [...at.querySelectorAll(s)];

  // The map: a viewBox that is moved and scaled. Line widths do not scale;
  // labels follow --px, the metres of one pixel.
  const plan = one("#plan");
  let home, box;
  function metresPerPixel() {
    const r = plan.getBoundingClientRect();
    return Math.max(box[2] / r.width, box[3] / r.height);
  }
  function show(next) {
    box = next;
    plan.setAttribute("viewBox", box.join(" "));
    const px = metresPerPixel();
    plan.style.setProperty("--px", px);
    [["far", 0.25], ["farther", 0.5], ["farthest", 1.6]].forEach(([c, m]) => plan.classList.toggle(c, px > m));
    drawScale(px);
    thinLabels(px);
  }
  function zoom(factor, x = box[0] + box[2] / 2, y = box[1] + box[3] / 2) {
    const w = Math.min(Math.max(box[2] * factor, 4), home[2] * 3), f = w / box[2];
    show([x - (x - box[0]) * f, y - (y - box[1]) * f, w, box[3] * f]);
  }
  function drawScale(px) {
    const most = px * 140, unit = 10 ** Math.floor(Math.log10(most));
    const m = [5, 2, 1].map(k => k * unit).find(v => v <= most);
    one(".scalebar span").style.width = m / px + "px";
    one(".scalebar b").textContent = m >= 1000 ? m / 1000 + " km" : +m.toPrecision(1) + " m";
  }
  // Labels that would lie on one another give way to the picked record's and to
  // those before them.
  let picked = "";
  function thinLabels(px) {
    const kept = [], labels = all("#layer-labels text");
    for (const t of [...labels.filter(t => t.dataset.of === picked), ...labels.filter(t => t.dataset.of !== picked)]) {
      const x = +t.getAttribute("x"), y = +t.getAttribute("y"), w = t.textContent.length * 3.6 * px, h = 9 * px;
      const clash = kept.some(k => Math.abs(k.x - x) < k.w + w && Math.abs(k.y - y) < k.h + h);
      t.style.display = clash ? "none" : "";
      if (!clash) kept.push({x, y, w, h});
    }
  }
  function focus(text) {
    if (!plan || !text) return;
    const [x, y, w, h] = text.split(" ").map(Number), r = plan.getBoundingClientRect(), wide = r.width / r.height;
    show(wide > w / h ? [x + w / 2 - h * wide / 2, y, h * wide, h] : [x, y + h / 2 - w / wide / 2, w, w / wide]);
  }
  if (plan) {
    home = box = plan.getAttribute("viewBox").split(" ").map(Number);
    show(home);
    addEventListener("resize", () => show(box));
    all("[data-zoom]").forEach(b => b.onclick = () => +b.dataset.zoom ? zoom(+b.dataset.zoom) : show(home));
    all("[data-layer]").forEach(c => c.onchange = () => one("#layer-" + c.dataset.layer).style.display = c.checked ? "" : "none");
    let drag = null;
    plan.onpointerdown = e => { drag = [e.clientX, e.clientY, box]; };
    plan.onpointermove = e => {
      if (!drag || !e.buttons) return;
      const px = metresPerPixel(), [x, y, from] = drag;
      show([from[0] - (e.clientX - x) * px, from[1] - (e.clientY - y) * px, from[2], from[3]]);
    };
    addEventListener("pointerup", () => { drag = null; });
    plan.ondblclick = e => {
      const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(plan.getScreenCTM().inverse());
      zoom(0.5, p.x, p.y);
    };
    plan.addEventListener("wheel", e => {
      if (!e.ctrlKey) return;
      e.preventDefault();
      const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(plan.getScreenCTM().inverse());
      zoom(e.deltaY > 0 ? 1.2 : 1 / 1.2, p.x, p.y);
    }, {passive: false});
    all("#plan g[data-record]").forEach(g => g.onclick = () => pickRecord(g.dataset.record));
    all("#resurvey tr[data-focus]").forEach(tr => tr.onclick = () => focus(tr.dataset.focus));
  }

  // The findings: filter, sort, pick.
  const list = one("#list");
  if (!list) return;
  const rows = all("tbody tr", list);
  const words = rows.map(r => r.textContent.toLowerCase());
  function filter() {
    const text = one("#search").value.toLowerCase(), kind = one("#kind").value, verdict = one("#verdict").value;
    let n = 0;
    rows.forEach((r, i) => {
      const keep = words[i].includes(text) && (!kind || r.dataset.kind === kind) && (!verdict || r.dataset.verdict === verdict);
      r.hidden = !keep;
      n += keep;
    });
    one("#shown").textContent = n + " of " + rows.length + " shown";
  }
  ["#search", "#kind", "#verdict"].forEach(s => one(s).oninput = filter);
  filter();
  const heads = all("th", list);
  heads.forEach((th, column) => one("button", th).onclick = () => {
    const up = th.getAttribute("aria-sort") !== "ascending", numeric = th.dataset.sort !== "text";
    heads.forEach(h => h.removeAttribute("aria-sort"));
    th.setAttribute("aria-sort", up ? "ascending" : "descending");
    const value = r => { const c = r.cells[column]; return c.dataset.v ?? c.textContent.trim(); };
    const compare = numeric ? (a, b) => (a === "") - (b === "") || a - b : (a, b) => a.localeCompare(b, "en", {numeric: true});
    const keyed = rows.map((r, i) => ({r, i, v: value(r)}));
    keyed.sort((a, b) => (up ? 1 : -1) * compare(a.v, b.v) || a.i - b.i);
    list.tBodies[0].append(...keyed.map(k => k.r));
  });
  function openDetail(id) {
    picked = id;
    all("#details article.picked, #plan g.picked").forEach(n => n.classList.remove("picked"));
    const article = id && document.getElementById(id);
    one("#details").classList.toggle("open", !!article);
    if (article) article.classList.add("picked");
    const g = id && plan && one('g[data-record="' + id + '"]', plan);
    if (g) g.classList.add("picked");
    return article;
  }
  function pick(row, scroll) {
    rows.forEach(r => r.classList.toggle("picked", r === row));
    const article = openDetail(row.dataset.detail);
    focus(row.dataset.focus);
    if (!article) one("#details .hint").textContent = one(".words", row).textContent;
    if (scroll && innerWidth <= 900) one("#details").scrollIntoView({block: "start"});
  }
  function pickRecord(id) {
    const row = rows.find(r => r.dataset.detail === id);
    if (row) { pick(row); row.scrollIntoView({block: "nearest"}); } else openDetail(id);
  }
  rows.forEach(row => {
    row.onclick = e => { if (e.target.closest("a")) e.preventDefault(); pick(row, true); };
    row.onkeydown = e => { if (e.key === "Enter") { e.preventDefault(); pick(row, true); } };
  });
  function fromHash() {
    const row = rows.find(r => "#" + r.id === location.hash || (r.dataset.detail && "#" + r.dataset.detail === location.hash));
    if (row) { pick(row); row.scrollIntoView({block: "nearest"}); }
  }
  addEventListener("hashchange", fromHash);
  if (rows.length) pick(rows[0]), plan && show(home);
  fromHash();
})();
