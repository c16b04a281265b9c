// A dot of a curve opens the row of its round; "Look closer" fetches the chart script when asked.
"use strict";
(function () {
  function unfold() {
    var row = location.hash && document.getElementById(location.hash.slice(1));
    var fold = row && row.closest("details");
    if (fold) { fold.open = true; row.scrollIntoView({ block: "center" }); }
  }
  addEventListener("hashchange", unfold);
  addEventListener("beforeprint", function () {
    document.querySelectorAll("details").forEach(function (d) { d.open = true; });
  });
  unfold();

  var button = document.getElementById("closer");
  if (!button) { return; }
  var said = document.getElementById("closer-said"), place = document.getElementById("closer-chart");
  // colours and dashes in turn, so that heaps differ by both (Okabe and Ito 2008, from memory)
  var hues = ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#8A6D00", "#56B4E9"];
  var dashes = ["solid", "dash", "dot", "dashdot", "longdash"];
  var signs = ["circle", "square", "triangle-up", "diamond", "x"];
  var data = null;

  function script() {
    return new Promise(function (done, fail) {
      if (window.Plotly) { done(); return; }
      var made = document.createElement("script");
      made.src = "/static-plotly/plotly.min.js";
      made.onload = done;
      made.onerror = fail;
      document.head.appendChild(made);
    });
  }
  function byDate() { return document.getElementById("see-date").checked; }
  function days(heap, when) {
    var built = Date.parse(heap.built);
    return when.map(function (w) { return (Date.parse(w) - built) / 86400000; });
  }
  function traces() {
    var ways = [], made = [], rank = {};
    data.heaps.forEach(function (heap) {
      if (ways.indexOf(heap.way) < 0) { ways.push(heap.way); rank[heap.way] = 0; }
      var hue = hues[ways.indexOf(heap.way) % hues.length], nth = rank[heap.way]++;
      Object.keys(heap.spots).forEach(function (name) {
        var spot = heap.spots[name];
        made.push({
          x: byDate() ? spot.when : days(heap, spot.when), y: spot.temp, mode: "lines",
          name: heap.heap + " " + name, legendgroup: heap.heap, showlegend: false, opacity: 0.35,
          line: { color: hue, width: 1 }
        });
      });
      made.push({
        x: byDate() ? heap.when : heap.age_d, y: heap.mean, mode: "lines+markers",
        name: heap.heap + (heap.way ? ", " + heap.way : ""), legendgroup: heap.heap,
        line: { color: hue, width: 3, dash: dashes[nth % dashes.length] },
        marker: { symbol: signs[nth % signs.length], size: 8 }
      });
    });
    if (data.air && data.heaps.length) {
      made.unshift({
        x: byDate() ? data.air.when : days(data.heaps[0], data.air.when), y: data.air.temp,
        mode: "lines", name: button.dataset.air, fill: "tozeroy", line: { color: "#6b665d" }
      });
    }
    return made;
  }
  function draw() {
    window.Plotly.react(place, traces(), {
      margin: { l: 45, r: 10, t: 10, b: 45 }, height: 460, paper_bgcolor: "#fdfbf5",
      plot_bgcolor: "#fdfbf5", font: { size: 14, color: "#221c15" }, hovermode: "closest",
      legend: { orientation: "h", y: -0.2 },
      xaxis: byDate() ? { type: "date" } : { type: "linear", title: { text: button.dataset.day } },
      yaxis: { title: { text: "°" + data.unit } }
    }, { displaylogo: false, responsive: true, displayModeBar: false });
  }
  button.addEventListener("click", function () {
    button.disabled = true;
    said.textContent = button.dataset.wait;
    Promise.all([
      fetch("/api/trial?trial=" + encodeURIComponent(button.dataset.trial))
        .then(function (answer) { if (!answer.ok) { throw new Error(); } return answer.json(); }),
      script()
    ]).then(function (found) {
      data = found[0];
      place.hidden = false;
      draw();
      said.textContent = "";
      document.querySelectorAll("input[name=see]").forEach(function (one) {
        one.addEventListener("change", draw);
      });
    }).catch(function () {
      button.disabled = false;
      said.textContent = button.dataset.fail;
    });
  });
})();
