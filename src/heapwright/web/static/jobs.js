// A calculation that runs: ask how far it is now and then, and show the page anew when it has ended.
"use strict";
(function () {
  var box = document.querySelector("[data-job]");
  if (!box) { return; }
  var bar = box.querySelector("progress"), said = box.querySelector("[data-said]");
  var state = box.dataset.state, wait = 800;
  function look() {
    fetch("/api/jobs/" + box.dataset.job, { headers: { Accept: "application/json" } })
      .then(function (answer) { if (!answer.ok) { throw new Error(); } return answer.json(); })
      .then(function (job) {
        if (job.state !== state) { location.reload(); return; }
        if (job.total) {
          bar.max = job.total;
          bar.value = job.done;
          said.textContent = box.dataset.words.replace("{done}", job.done)
            .replace("{total}", job.total);
        }
        wait = Math.min(wait * 1.2, 5000);
        setTimeout(look, wait);
      })
      .catch(function () { setTimeout(look, 5000); });
  }
  setTimeout(look, wait);
})();
