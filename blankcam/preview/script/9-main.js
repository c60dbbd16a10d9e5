'use strict';

/* Puts the page's script to work; without it drawings and tables stand as they are. */
(function (bc) {
  const $ = (id) => document.getElementById(id);

  function units() {
    for (const input of document.querySelectorAll('input[name=unit]')) {
      input.addEventListener('change', () => {
        bc.units.use(input.value, document);
        if (bc.solidView) {
          bc.solidView.tell(null);
          bc.solidView.say();
        }
        if (bc.slotView) bc.slotView.show();
      });
      if (input.checked) bc.units.use(input.value, document);
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
        const i = Number(g.dataset.spot);
        g.addEventListener('pointerenter', () => box.replaceChildren(bc.solid.facts(part.spots[i])));
        g.addEventListener('click', () => goTo(data, part, i));
      }
    }
  }

  /* A row of the nut's or the saddle's table is a way to its slot too. */
  function rowsLead(data) {
    for (const part of data.parts) {
      const table = $('table-' + part.name);
      if (!table) continue;
      [...table.tBodies[0].rows].forEach((row, i) => {
        const head = row.cells[0];
        const button = document.createElement('button');
        button.type = 'button';
        button.className = 'lead';
        button.textContent = head.textContent;
        button.setAttribute('aria-label', 'Show string ' + head.textContent + ' in the picture');
        button.addEventListener('click', () => goTo(data, part, i));
        head.replaceChildren(button);
      });
    }
  }

  async function goTo(data, part, i) {
    const view = bc.solidView;
    if (view.part !== part) {
      const n = data.parts.indexOf(part);
      document.querySelector(`input[name=part][value='${n}']`).checked = true;
      await view.show(n);
    }
    view.choose(i);
    view.scene.canvas.scrollIntoView({ block: 'center' });
  }

  async function pictures(data) {
    bc.solidView = new bc.solid.SolidView(data);
    await bc.solidView.show(0);
    bc.slotView = new bc.slot.SlotView(data, bc.solidView);
    bc.slotView.load(data.sections, data.seats);
    if (data.programs.length) {
      bc.cutView = new bc.cut.CutView(data);
      await bc.cutView.load(0);
    }
  }

  async function start() {
    for (const e of document.querySelectorAll('.needs-script')) e.hidden = false;
    units();
    theme();
    for (const b of document.querySelectorAll('.copy')) b.addEventListener('click', () => copy(b));
    $('print').addEventListener('click', () => window.print());
    window.addEventListener('beforeprint', () => { for (const d of document.querySelectorAll('.cautions details')) d.open = true; });
    try {
      await fill(await bc.unpack.json(JSON.parse($('data').textContent)));
    } catch (fault) {
      noPictures(fault);
    }
    document.documentElement.dataset.ready = 'yes';
  }

  /* What needs the page's data: drawings that answer, and the pictures. */
  async function fill(data) {
    sides(data);
    drawings(data);
    try {
      await pictures(data);
      rowsLead(data);
    } catch (fault) {
      noPictures(fault);
    }
    if (data.watch) bc.watch.start(data.watch);
  }

  function noPictures(fault) {
    bc.fault = String(fault);
    for (const e of document.querySelectorAll('.picture-part')) e.hidden = true;
    $('no-picture').hidden = false;
  }

  Object.assign(bc, { main: { rows, start } });
  document.addEventListener('DOMContentLoaded', start);
})(window.blankcam = window.blankcam || {});
