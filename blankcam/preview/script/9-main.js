'use strict';

/* Puts the page's script to work; without it drawings and tables stand as they are. */
(function (bc) {
  const $ = (id) => document.getElementById(id);

  function units() {
    for (const input of document.querySelectorAll('input[name=unit]')) {
      input.addEventListener('change', () => {
        bc.units.use(input.value, document);
        if (bc.solidView) bc.solidView.mark(-1);
      });
    }
  }

  function theme() {
    const dark = matchMedia('(prefers-color-scheme: dark)');
    const button = $('theme');
    const is = () => document.documentElement.dataset.theme || (dark.matches ? 'dark' : 'light');
    const say = () => { button.textContent = is() === 'dark' ? 'Light page' : 'Dark page'; };
    button.addEventListener('click', () => {
      document.documentElement.dataset.theme = is() === 'dark' ? 'light' : 'dark';
      say();
    });
    dark.addEventListener('change', say);
    say();
  }

  function rows(table) {
    return [...table.rows].map((r) => [...r.cells].map((c) => c.textContent.trim()).join('\t')).join('\n');
  }

  async function copy(button) {
    const table = $('table-' + button.dataset.copy);
    let done = true;
    try {
      await navigator.clipboard.writeText(rows(table));
    } catch {
      const range = document.createRange();
      range.selectNode(table);
      getSelection().removeAllRanges();
      getSelection().addRange(range);
      done = document.execCommand('copy');
    }
    $('said').textContent = done ? 'Table copied' : 'Table selected: copy it from here';
    button.textContent = done ? 'Copied' : 'Selected';
    setTimeout(() => { button.textContent = 'Copy'; }, 2000);
  }

  /* One string's clearances at a time in the side view. */
  function sides(data) {
    const show = (n) => {
      for (const g of document.querySelectorAll('.side .path')) {
        g.classList.toggle('off', g.dataset.string !== n);
      }
    };
    const first = String(data.side[0][0]);
    bc.solid.choices($('choose-side'), 'side', data.side.map(([n, note]) => [String(n), n + ' ' + note]),
      first, show);
    $('choose-side').hidden = false;
    show(first);
  }

  /* A slot of a drawing under the pointer shows its numbers. */
  function drawings(data) {
    for (const svg of document.querySelectorAll('svg.elevation')) {
      const part = data.parts.find((p) => p.name === svg.dataset.part);
      const box = $('facts-' + svg.dataset.part);
      for (const g of svg.querySelectorAll('.spot')) {
        const tell = () => box.replaceChildren(bc.solid.facts(part.spots[Number(g.dataset.spot)]));
        g.addEventListener('pointerenter', tell);
        g.addEventListener('click', tell);
      }
    }
  }

  async function pictures(data) {
    bc.solidView = new bc.solid.SolidView(data);
    await bc.solidView.show(0);
    if (data.programs.length) {
      bc.cutView = new bc.cut.CutView(data);
      await bc.cutView.load(0);
    }
  }

  async function start() {
    const data = JSON.parse($('data').textContent);
    for (const e of document.querySelectorAll('.needs-script')) e.hidden = false;
    units();
    theme();
    sides(data);
    drawings(data);
    $('print').addEventListener('click', () => window.print());
    for (const b of document.querySelectorAll('.copy')) b.addEventListener('click', () => copy(b));
    try {
      await pictures(data);
    } catch (fault) {
      bc.fault = String(fault);
      for (const e of document.querySelectorAll('.picture-part')) e.hidden = true;
      $('no-picture').hidden = false;
    }
    document.documentElement.dataset.ready = 'yes';
  }

  Object.assign(bc, { main: { rows, start } });
  document.addEventListener('DOMContentLoaded', start);
})(window.blankcam = window.blankcam || {});
