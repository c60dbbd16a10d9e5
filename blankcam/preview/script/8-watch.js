'use strict';

/* While its job is watched the page asks a small script beside it whether there is a newer page. */
(function (bc) {
  const $ = (id) => document.getElementById(id);
  const EVERY = 150;  // ms
  const BESIDE = 'preview-watch.js';
  const KEPT = 'blankcam-view ';
  let own = '';
  let count = 0;

  /* What one was looking at, for the page that comes after this one; window.name outlives it. */
  function keep() {
    const v = bc.solidView;
    const picked = (name) => (document.querySelector(`input[name=${name}]:checked`) || {}).value;
    window.name = KEPT + JSON.stringify({
      part: v && v.data.parts.indexOf(v.part), seat: v && v.seat, standing: v && v.standing,
      chosen: v && v.chosen, near: v && v.near, pose: v && v.scene.camera.pose, unit: picked('unit'),
      theme: document.documentElement.dataset.theme, scroll: window.scrollY,
    });
  }

  async function restore() {
    if (!window.name.startsWith(KEPT)) return;
    let was;
    try {
      was = JSON.parse(window.name.slice(KEPT.length));
    } catch {
      return;
    }
    window.name = '';
    if (was.theme) document.documentElement.dataset.theme = was.theme;
    if (was.unit) document.querySelector(`input[name=unit][value=${was.unit === 'in' ? 'in' : 'mm'}]`).click();
    const v = bc.solidView;
    if (v && was.pose && v.data.parts[was.part]) {
      for (const [name, value] of [['part', was.part], ['where', was.seat ? 'seat' : 'alone']]) {
        document.querySelector(`input[name=${name}][value='${value}']`).checked = true;
      }
      v.seat = was.seat;
      v.standing = was.standing;
      v.chosen = was.chosen;
      await v.show(was.part);
      v.near = was.near;
      v.scene.camera.pose = was.pose;
      v.dress();
      v.heard();
    }
    window.scrollTo(0, was.scroll || 0);
  }

  function ask() {
    if (document.hidden) return;
    const s = document.createElement('script');
    s.src = BESIDE + '?' + count++;
    s.addEventListener('load', () => s.remove());
    s.addEventListener('error', () => s.remove());
    document.body.append(s);
  }

  /* Called by the script beside the page. */
  function hear(said) {
    const line = $('watched');
    const fault = said.fault.join('\n');
    const words = fault || 'Watching the job: save it and this page follows.';
    if (line.textContent !== words) line.textContent = words;
    line.classList.toggle('fault', Boolean(fault));
    if (said.page && said.page !== own) {
      keep();
      window.location.reload();
    }
  }

  async function start(name) {
    own = name;
    await restore();
    ask();
    window.setInterval(ask, EVERY);
  }

  Object.assign(bc, { watch: { start, hear } });
})(window.blankcam = window.blankcam || {});
