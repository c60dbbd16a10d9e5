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

  let side = '';

  /* One string's clearances at a time in the side view. */
  function sides(data) {
    const show = (n) => {
      side = n;
      for (const g of document.querySelectorAll('.side .path')) {
        g.classList.toggle('off', g.dataset.string !== n);
      }
    };
    const first = data.side.some(([n]) => String(n) === side) ? side : String(data.side[0][0]);
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

  /* The views, and what they are to show at once unpacked. */
  async function prepare(data) {
    bc.solidView = bc.solidView || new bc.solid.SolidView();
    bc.slotView = bc.slotView || new bc.slot.SlotView(bc.solidView);
    if (data.programs.length) bc.cutView = bc.cutView || new bc.cut.CutView();
    await bc.solidView.unpack(data);
    if (data.programs.length) await bc.cutView.unpack(data.programs);
  }

  async function pictures(data) {
    bc.slotView.take(data);
    await bc.solidView.take(data);
    const cut = $('cut');
    if (cut) cut.hidden = !data.programs.length;
    if (data.programs.length) await bc.cutView.take(data.programs);
  }

  async function start() {
    for (const e of document.querySelectorAll('.needs-script:not(#cut)')) e.hidden = false;
    units();
    theme();
    $('print').addEventListener('click', () => window.print());
    window.addEventListener('beforeprint', () => { for (const d of document.querySelectorAll('.cautions details')) d.open = true; });
    try {
      await show(await bc.unpack.json(JSON.parse($('data').textContent)));
    } catch (fault) {
      noPictures(fault);
    }
    document.documentElement.dataset.ready = 'yes';
    bc.watch.start();
  }

  /* Shows a page's values: drawings that answer, and pictures. `put` sets the markup that goes with
     them, when all else is at hand: nothing is drawn between. */
  async function show(data, put = () => {}) {
    await orNoPictures(() => prepare(data));
    put();
    for (const b of document.querySelectorAll('.copy')) b.addEventListener('click', () => copy(b));
    sides(data);
    drawings(data);
    await orNoPictures(async () => {
      await pictures(data);
      rowsLead(data);
    });
  }

  async function orNoPictures(act) {
    if (bc.fault) return;
    try {
      await act();
    } catch (fault) {
      noPictures(fault);
    }
  }

  function noPictures(fault) {
    bc.fault = String(fault);
    for (const e of document.querySelectorAll('.picture-part')) e.hidden = true;
    $('no-picture').hidden = false;
  }

  Object.assign(bc, { main: { rows, show } });
  document.addEventListener('DOMContentLoaded', start);
})(window.blankcam = window.blankcam || {});
