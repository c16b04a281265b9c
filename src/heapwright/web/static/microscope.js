// A field to count on: the picture stays here; marks become a line of the form that is sent.
"use strict";
(() => {
  const box = document.getElementById("count");
  if (!box) return;
  const words = JSON.parse(box.dataset.words);
  const at = (id) => document.getElementById(id);
  const canvas = at("field"), pen = canvas.getContext("2d"), said = at("said"), fault = at("fault");
  const most = 20e6, widest = 2400;
  let picture = null, name = "", part = 1, zoom = 1, marks = [], cross = null;

  const fill = (text, names) => text.replace(/\{(\w+)\}/g, (_, key) => names[key]);
  const far = (a, b) => Math.hypot(a.x - b.x, a.y - b.y);
  const chosen = () => box.querySelector("input[name=mark]:checked").value;
  const complain = (text) => { fault.textContent = text; fault.hidden = !text; };
  // a length such as "100 um" or "0,1 mm" in um; NaN where it is none
  const inUm = (text) => {
    const found = /^\s*(\d+(?:[.,]\d+)?)\s*(um|µm|μm|mm)?\s*$/.exec(text);
    if (!found) return NaN;
    const number = Number(found[1].replace(",", "."));
    return number > 0 ? number * (found[2] === "mm" ? 1000 : 1) : NaN;
  };
  const short = (number) => String(Number(number.toPrecision(4)));

  // what the marks say: ends of the scale, cells, hyphae with points and sides
  const read = () => {
    const out = { scale: [], cells: [], hyphae: [], open: null };
    for (const mark of marks) {
      if (mark.kind === "scale") {
        if (out.scale.length === 2) out.scale = [];
        out.scale.push(mark);
      } else if (mark.kind === "cell") {
        out.cells.push(mark);
      } else if (mark.kind === "point") {
        if (!out.open) { out.open = { points: [], sides: [] }; out.hyphae.push(out.open); }
        out.open.points.push(mark);
      } else if (mark.kind === "end") {
        out.open = null;
      } else {
        const last = out.hyphae[out.hyphae.length - 1];
        if (!last) continue;
        if (last.sides.length === 2) last.sides = [];
        last.sides.push(mark);
      }
    }
    const across = out.scale.length === 2 ? far(out.scale[0], out.scale[1]) : 0;
    out.pixels = across;
    out.um = across > 0 ? inUm(at("known").value) / across : NaN;
    return out;
  };
  const along = (hypha) => hypha.points.slice(1)
    .reduce((sum, point, n) => sum + far(hypha.points[n], point), 0);
  const width = (hypha, um) => hypha.sides.length === 2
    ? far(hypha.sides[0], hypha.sides[1]) * um : inUm(at("usual").value);

  const show = () => {
    const state = read();
    draw(state);
    const texts = [];
    if (Number.isFinite(state.um)) {
      texts.push(fill(words.scale, { n: short(state.um * state.pixels), px: short(state.pixels) }));
    } else if (picture) {
      texts.push(state.scale.length === 2 ? words.nodistance.replace(/\.$/, "") : words.noscale);
    }
    if (state.cells.length) texts.push(fill(words.cells, { n: state.cells.length }));
    state.hyphae.forEach((hypha, n) => {
      const long = along(hypha) * state.um / 1000, wide = width(hypha, state.um);
      let text = fill(words.hypha, { n: n + 1, long: Number.isFinite(long) ? short(long) : "?" });
      if (Number.isFinite(wide)) text += fill(words.thick, { wide: short(wide) });
      texts.push(text + (hypha === state.open ? words.open : ""));
    });
    said.textContent = marks.length || texts.length ? texts.join("; ") + "." : words.none;
  };

  const draw = (state) => {
    pen.clearRect(0, 0, canvas.width, canvas.height);
    if (!picture) return;
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    // marks as large on screen at any zoom, light over dark so that they show on any ground
    const unit = canvas.width / (canvas.clientWidth || canvas.width);
    const both = (path) => {
      pen.lineWidth = 3.6 * unit; pen.strokeStyle = "#fdfbf5"; path(); pen.stroke();
      pen.lineWidth = 1.6 * unit; pen.strokeStyle = "#86290a"; path(); pen.stroke();
    };
    const line = (points) => {
      pen.beginPath();
      points.forEach((p, n) => (n ? pen.lineTo(p.x * part, p.y * part)
        : pen.moveTo(p.x * part, p.y * part)));
    };
    const ring = (p, size) => {
      pen.beginPath();
      pen.arc(p.x * part, p.y * part, size * unit, 0, 2 * Math.PI);
    };
    const plus = (p, size) => {
      const x = p.x * part, y = p.y * part, s = size * unit;
      pen.beginPath();
      pen.moveTo(x - s, y); pen.lineTo(x + s, y); pen.moveTo(x, y - s); pen.lineTo(x, y + s);
    };
    state.cells.forEach((p) => both(() => ring(p, 9)));
    state.hyphae.forEach((hypha) => {
      both(() => line(hypha.points));
      hypha.points.forEach((p) => both(() => ring(p, 3)));
      if (hypha.sides.length) both(() => line(hypha.sides));
      hypha.sides.forEach((p) => both(() => plus(p, 5)));
    });
    if (state.scale.length) both(() => line(state.scale));
    state.scale.forEach((p) => both(() => plus(p, 9)));
    if (cross && document.activeElement === canvas) both(() => plus(cross, 16));
  };

  const put = (spot) => {
    if (!picture) { complain(words.needpicture); return; }
    complain("");
    marks.push({ kind: chosen(), x: spot.x, y: spot.y });
    show();
  };
  const undo = () => { marks.pop(); show(); };
  const endHypha = () => {
    if (read().open) marks.push({ kind: "end" });
    show();
  };
  const size = () => {
    canvas.style.width = `${100 * zoom}%`;
    const frame = at("frame");
    if (cross) { // what was marked last stays in the middle
      const scale = canvas.clientWidth / (canvas.width / part);
      frame.scrollLeft = cross.x * scale - frame.clientWidth / 2;
      frame.scrollTop = cross.y * scale - frame.clientHeight / 2;
    }
    show();
  };

  at("picture").addEventListener("change", (event) => {
    const file = event.target.files[0];
    if (!file) return;
    if (file.size > most) { complain(words.large); event.target.value = ""; return; }
    const address = URL.createObjectURL(file), made = new Image();
    made.onload = () => {
      URL.revokeObjectURL(address);
      // the same microscope and camera: the scale stays
      const alike = picture && picture.naturalWidth === made.naturalWidth
        && picture.naturalHeight === made.naturalHeight;
      marks = alike ? marks.filter((mark) => mark.kind === "scale") : [];
      picture = made;
      name = file.name;
      part = Math.min(1, widest / Math.max(made.naturalWidth, made.naturalHeight));
      canvas.width = Math.round(made.naturalWidth * part);
      canvas.height = Math.round(made.naturalHeight * part);
      zoom = 1;
      cross = { x: made.naturalWidth / 2, y: made.naturalHeight / 2 };
      complain("");
      size();
    };
    made.onerror = () => {
      URL.revokeObjectURL(address);
      event.target.value = "";
      complain(words.broken);
    };
    made.src = address;
  });
  canvas.addEventListener("click", (event) => {
    const seen = canvas.getBoundingClientRect(), scale = canvas.width / seen.width / part;
    const spot = { x: (event.clientX - seen.left) * scale, y: (event.clientY - seen.top) * scale };
    cross = spot;
    put(spot);
  });
  canvas.addEventListener("focus", show);
  canvas.addEventListener("blur", show);
  canvas.addEventListener("keydown", (event) => {
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const way = ways[event.key];
    if (way && cross) {
      const step = (event.shiftKey ? 1 : 10) * canvas.width / canvas.clientWidth / part;
      cross = {
        x: Math.min(Math.max(cross.x + way[0] * step, 0), canvas.width / part),
        y: Math.min(Math.max(cross.y + way[1] * step, 0), canvas.height / part),
      };
      show();
    } else if (event.key === "Enter" || event.key === " ") {
      if (cross) put({ ...cross });
    } else if (event.key === "Backspace") {
      undo();
    } else if (event.key === "e" || event.key === "E") {
      endHypha();
    } else {
      return;
    }
    event.preventDefault();
  });
  at("end").addEventListener("click", endHypha);
  at("undo").addEventListener("click", undo);
  at("closer").addEventListener("click", () => { zoom = Math.min(zoom * 2, 8); size(); });
  at("back").addEventListener("click", () => { zoom = 1; size(); });
  at("known").addEventListener("input", show);
  at("usual").addEventListener("input", show);

  at("add").addEventListener("click", () => {
    const state = read(), hyphae = state.hyphae.filter((h) => along(h) > 0);
    if (!picture) { complain(words.needpicture); return; }
    const cells = at("looked-cells").checked || state.cells.length > 0;
    const looked = at("looked-hyphae").checked || hyphae.length > 0;
    if (!cells && !looked) { complain(words.nothing); return; }
    if (hyphae.length && state.scale.length === 2 && !Number.isFinite(state.um)) {
      complain(words.nodistance);
      return;
    }
    if (hyphae.length && !Number.isFinite(state.um)) { complain(words.needscale); return; }
    const texts = cells ? [`${state.cells.length} cells`] : [];
    hyphae.forEach((hypha) => {
      const long = `${short(along(hypha) * state.um / 1000)} mm`, wide = width(hypha, state.um);
      texts.push(Number.isFinite(wide) ? `${long} at ${short(wide)} um` : long);
    });
    if (looked && !hyphae.length) texts.push("no hyphae");
    const list = at("m-fields");
    list.value = `${list.value.replace(/\s+$/, "")}\n${texts.join("; ")}`.trim();
    if (at("whole").checked && Number.isFinite(state.um)) {
      const area = picture.naturalWidth * picture.naturalHeight * (state.um / 1000) ** 2;
      at("m-field").value = `${short(area)} mm2`;
    }
    const note = at("m-note");
    if (Number.isFinite(state.um)) {
      const from = fill(words.from, { file: name.slice(0, 60), scale: short(state.um) });
      if (!note.value.includes(from)) {
        note.value = [note.value, from].filter(Boolean).join("; ").slice(0, 500);
      }
    }
    at("looked-cells").checked = at("looked-hyphae").checked = false;
    // the scale stays for the next picture of the same microscope, marks do not
    marks = marks.filter((mark) => mark.kind === "scale");
    complain("");
    show();
    said.textContent = words.added;
  });
  show();
})();
