// Marking a picture by taps or keys, and standing by the outline of the last photo. Everything that
// is marked lands in the fields of a plain form, where it may be typed as well.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const NS = "http://www.w3.org/2000/svg";

  // --- marks: points of the picture in its own pixels --------------------------------------------
  const marking = () => {
    const whole = $("marker"), sight = whole.querySelector(".sight"), sheet = sight.querySelector(".sheet");
    const img = sheet.querySelector("img"), svg = sheet.querySelector("svg");
    const wide = Number(img.getAttribute("width")), high = Number(img.getAttribute("height"));
    const needs = { card: 2, area: 2, ends: 2, chart: 4 };
    const points = {};
    let at = [wide / 2, high / 2], keyed = false, zoom = 1;
    whole.hidden = false;

    const field = (key) => $(`m-${key}`);
    const key = () => whole.querySelector("input[name=mark]:checked").value;
    const round = (v) => Math.round(v * 10) / 10;
    const said = () => {
      const n = (points[key()] || []).length, box = $("marked"), d = box.dataset;
      box.textContent = n === 0 ? d.first : n < needs[key()] ? d.more.replace("{n}", needs[key()] - n) : d.done;
    };
    const fill = (name) => {
      const p = points[name];
      if (p.length < needs[name]) return;
      const flat = p.flat().map(round);
      if (name === "ends" || name === "chart") field(name).value = flat.join(",");
      else {
        const [[a, b], [c, d]] = p;
        field(name).value = [Math.min(a, c), Math.min(b, d), Math.abs(c - a), Math.abs(d - b)].map(round).join(",");
      }
    };
    const shape = (tag, made, cls) => {
      const e = document.createElementNS(NS, tag);
      for (const [k, v] of Object.entries(made)) e.setAttribute(k, v);
      e.setAttribute("class", cls);
      svg.append(e);
    };
    const draw = () => {
      svg.replaceChildren();
      const px = wide / (img.clientWidth || wide);
      for (const name of Object.keys(needs)) {
        if (!field(name)) continue;
        const v = field(name).value.split(/[,;\s]+/).filter(Boolean).map(Number);
        if (!v.some(Number.isNaN)) {
          if (name === "ends" && v.length === 4) shape("line", { x1: v[0], y1: v[1], x2: v[2], y2: v[3] }, "mark");
          else if (v.length === 8) shape("polygon", { points: v.join(" ") }, "mark");
          else if (v.length === 4) shape("rect", { x: v[0], y: v[1], width: Math.max(v[2], 0), height: Math.max(v[3], 0) }, "mark");
        }
        for (const [x, y] of points[name] || []) shape("circle", { cx: x, cy: y, r: 5 * px }, "dot");
      }
      if (keyed) {
        const [x, y] = at, r = 14 * px;
        shape("path", { d: `M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}` }, "mark");
      }
    };
    const put = (x, y) => {
      const name = key(), before = points[name] || [];
      points[name] = [...(before.length >= needs[name] ? [] : before), [Math.min(Math.max(x, 0), wide), Math.min(Math.max(y, 0), high)]];
      fill(name);
      draw();
      said();
    };
    img.addEventListener("click", (event) => {
      const box = img.getBoundingClientRect();
      keyed = false;
      put((event.clientX - box.left) * wide / box.width, (event.clientY - box.top) * high / box.height);
    });
    sight.addEventListener("keydown", (event) => {
      const step = (event.shiftKey ? 0.002 : 0.02) * wide;
      const move = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (move) at = [Math.min(Math.max(at[0] + move[0] * step, 0), wide), Math.min(Math.max(at[1] + move[1] * step, 0), high)];
      else if (event.key === "Enter") put(...at);
      else return;
      keyed = true;
      event.preventDefault();
      draw();
      const box = sheet.getBoundingClientRect();
      sight.scrollTo(at[0] * box.width / wide - sight.clientWidth / 2, at[1] * box.height / high - sight.clientHeight / 2);
    });
    const zoomed = (by) => {
      const x = (sight.scrollLeft + sight.clientWidth / 2) / sheet.clientWidth, y = (sight.scrollTop + sight.clientHeight / 2) / sheet.clientHeight;
      zoom = by;
      sheet.style.width = `${100 * zoom}%`;
      sight.scrollTo(x * sheet.clientWidth - sight.clientWidth / 2, y * sheet.clientHeight - sight.clientHeight / 2);
      draw();
    };
    $("closer").addEventListener("click", () => zoomed(Math.min(zoom * 2, 16)));
    $("back").addEventListener("click", () => zoomed(1));
    whole.addEventListener("change", said);
    $("marks").addEventListener("input", draw);
    img.addEventListener("load", draw);
    window.addEventListener("resize", draw);
    draw();
    said();
  };

  // --- pairs: the outline over the camera or over the file ---------------------------------------
  const standing = () => {
    const stand = $("stand"), video = stand.querySelector("video"), seen = $("seen"), outline = $("outline");
    const file = $("p-file"), stood = $("stood");
    const say = (text) => { stood.hidden = false; stood.textContent = text; };
    const stop = () => { for (const track of video.srcObject ? video.srcObject.getTracks() : []) track.stop(); video.srcObject = null; video.hidden = true; $("take").hidden = true; };
    const preview = () => {
      if (!file.files[0]) return;
      stop();
      if (seen.src.startsWith("blob:")) URL.revokeObjectURL(seen.src);
      seen.src = URL.createObjectURL(file.files[0]);
      seen.hidden = false;
    };
    stand.hidden = false;
    file.addEventListener("change", preview);
    if ($("lines")) $("lines").addEventListener("change", () => { outline.hidden = !$("lines").checked; });
    if (outline) outline.addEventListener("error", () => { outline.hidden = true; });
    if (!navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) return;
    $("camera").hidden = false;
    $("camera").addEventListener("click", async () => {
      try {
        video.srcObject = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 4096 } }, audio: false });
        await video.play();
        video.hidden = false;
        seen.hidden = true;
        $("take").hidden = false;
      } catch (error) { stop(); say(stood.dataset.denied); }
    });
    $("take").addEventListener("click", () => {
      const canvas = document.createElement("canvas");
      [canvas.width, canvas.height] = [video.videoWidth, video.videoHeight];
      canvas.getContext("2d").drawImage(video, 0, 0);
      canvas.toBlob((blob) => {
        const box = new DataTransfer();
        box.items.add(new File([blob], "photo.jpg", { type: "image/jpeg" }));
        file.files = box.files;
        preview();
        say(stood.dataset.taken);
      }, "image/jpeg", 0.92);
    });
  };

  if ($("marker")) marking();
  if ($("stand")) standing();
})();
