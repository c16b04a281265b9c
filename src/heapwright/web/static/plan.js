// The mix follows as you type: the answer of the same page is fetched and put in place.
"use strict";
(() => {
  const form = document.getElementById("mix");
  const place = document.getElementById("answer");
  const lead = document.getElementById("lead");
  if (!form || !place) return;
  let later = 0, running = null;
  const ask = async () => {
    if (running) running.abort();
    running = new AbortController();
    const at = form.action + "?" + new URLSearchParams(new FormData(form));
    try {
      const answer = await fetch(at, { signal: running.signal, headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const found = page.getElementById("answer");
      if (!found) return;
      place.replaceChildren(...found.childNodes);
      lead.textContent = page.getElementById("lead").textContent;
    } catch (error) {
      if (error.name !== "AbortError") place.dataset.old = "yes";
    }
  };
  form.addEventListener("input", () => { clearTimeout(later); later = setTimeout(ask, 300); });
})();
