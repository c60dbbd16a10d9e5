'use strict';

/* While its job is watched the page asks a small script beside it whether there is a newer page, and
   another one for that. What is newer goes into the page that stands, whose pictures stay alive. */
(function (bc) {
  const $ = (id) => document.getElementById(id);
  const EVERY = 60;  // ms
  const [TELLS, BRINGS] = ['preview-watch.js', 'preview-newer.js'];
  const MADE_ANEW = ['choose-part', 'choose-string', 'chapters'];  // by the script, out of values
  const REACHED = 'a, button, input, select, summary, [tabindex]';
  let known = {};  // the page and its frame, as its own line names them
  let count = 0;
  let busy = false;

  function ask(name) {
    const s = document.createElement('script');
    s.src = name + '?' + count++;
    s.addEventListener('load', () => s.remove());
    s.addEventListener('error', () => s.remove());
    document.body.append(s);
  }

  /* Called by the script that tells. */
  function hear(said) {
    const line = $('watched');
    const fault = said.fault.join('\n');
    const words = fault || 'Watching the job: save it and this page follows.';
    if (line.textContent !== words) line.textContent = words;
    line.classList.toggle('fault', Boolean(fault));
    if (said.page && said.page !== known.page && !busy) ask(BRINGS);
  }

  /* Called by the script that brings. What is newer still is asked for when this one is shown. */
  async function take(newer) {
    if (busy || newer.page === known.page) return;
    if (newer.frame !== known.frame) {  // of another version of the program
      window.location.reload();
      return;
    }
    busy = true;
    try {
      const values = await bc.unpack.json(newer.values);
      let restore;
      await bc.main.show(values, () => { restore = put(newer); });
      restore();
      known = { page: newer.page, frame: newer.frame };
    } finally {
      busy = false;
    }
  }

  /* The newer blocks in the place of those before; returns what puts back what was open, moved or
     held, once the script has done its part. */
  function put(newer) {
    document.title = newer.title;
    const back = [held(), ...[...Object.keys(newer.blocks), ...MADE_ANEW].map($).filter(Boolean).map(kept)];
    for (const [name, markup] of Object.entries(newer.blocks)) $(name).innerHTML = markup;
    bc.units.refresh(document);
    return () => { for (const one of back.reverse()) one(); };
  }

  /* Folds, sideways scroll and focus in a box. */
  function kept(box) {
    const all = (what) => [...box.querySelectorAll(what)];
    const open = all('details').map((e) => e.open);
    const moved = all('.scroll, .drawing, .paper').map((e) => e.scrollLeft);
    const held = all(REACHED).indexOf(document.activeElement);
    return () => {
      all('details').forEach((e, i) => { if (open[i]) e.open = true; });
      all('.scroll, .drawing, .paper').forEach((e, i) => { if (moved[i]) e.scrollLeft = moved[i]; });
      if (held >= 0 && all(REACHED)[held]) all(REACHED)[held].focus({ preventScroll: true });
    };
  }

  /* Whatever stands at the head of the window, which stays there though more or less stands over it. */
  function held() {
    const shown = [...document.querySelectorAll('main > *, .block > *')];
    const first = shown.find((e) => e.getBoundingClientRect().bottom > 0);
    if (!window.scrollY || !first) return () => {};
    const { parentElement: box } = first;
    const i = [...box.children].indexOf(first);
    const { top } = first.getBoundingClientRect();
    return () => {
      if (box.children[i]) window.scrollBy(0, box.children[i].getBoundingClientRect().top - top);
    };
  }

  function start() {
    const line = $('watched');
    if (!line) return;
    known = { ...line.dataset };
    ask(TELLS);
    window.setInterval(() => { if (!document.hidden) ask(TELLS); }, EVERY);
  }

  Object.assign(bc, { watch: { start, hear, take } });
})(window.blankcam = window.blankcam || {});
