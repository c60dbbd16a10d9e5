'use strict';

/* The chosen string's slot cut along and across, beside its numbers, at the step that is shown. */
(function (bc) {
  const $ = (id) => document.getElementById(id);
  const DIGIT = 0.556;  // width of a digit over the size of the type (Helvetica's metrics)
  const WIDE = 610;  // px that the wide drawings take with their edges
  const LARGER = 1.3;  // times which narrow drawings are drawn where the room is for it
  const WORDS = { blank: 'before the cut', rough: 'after the first cut', refit: 'after stringing', finished: 'finished' };

  class SlotView {
    constructor(solid) {
      this.solid = solid;
      this.watcher = new ResizeObserver(() => this.fit());
      solid.heard = () => this.show();
    }

    /* A page's drawings, shown with the next step or string. */
    take(data) {
      this.parts = data.parts;
      this.sheets = data.sections;
      this.places = data.seats;
      this.placed = '';
      this.room = document.querySelector('.instrument .paper');
      this.watcher.disconnect();
      this.watcher.observe(this.room);
    }

    /* Nut and saddle in the instrument along a string. */
    seats(string) {
      const key = string + this.drawn + bc.units.name;
      if (key === this.placed) return;
      this.placed = key;
      for (const [kind, all] of Object.entries(this.places || {})) {
        $('seat-' + kind).replaceChildren(sheet((all[string] || all.all)[this.drawn], this.larger));
      }
      $('seat-string').textContent = string;
    }

    get layout() {
      return this.room.clientWidth >= WIDE ? 'wide' : 'narrow';
    }

    get larger() {
      return this.drawn === 'wide' ? 1 : LARGER;
    }

    fit() {
      if (this.layout !== this.drawn) this.show();
    }

    show() {
      const { solid } = this;
      const spot = solid.part.spots[solid.chosen];
      this.drawn = this.layout;
      this.seats(spot.string);
      const of = this.sheets && this.sheets[spot.string];
      if (!of) return;
      const asked = ['blank', 'rough', 'refit', 'finished'][solid.standing];
      const { along, across } = of[this.drawn];
      const name = [asked, 'rough', 'finished'].find((n) => along[n]);
      $('slot-string').textContent = spot.string + ', ' + spot.note;
      const early = name === 'finished' && name !== asked;  // a page that waits for who cuts them
      $('slot-stage').textContent = WORDS[name] + (early ? '; the other steps are being worked out' : '');
      $('slot-along').replaceChildren(sheet(along[name], this.larger));
      $('slot-across').replaceChildren(sheet(across[name], this.larger));
      const nut = this.parts.find((p) => p.name === 'nut').spots.find((s) => s.string === spot.string);
      $('slot-facts').replaceChildren(table(nut));
    }
  }

  const SVG = 'http://www.w3.org/2000/svg';

  function make(name, attributes) {
    const e = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
    return e;
  }

  /* A drawing from its values, as the page's own markup of the first one is. */
  function sheet([name, box, size, paths, words], larger) {
    const svg = make('svg', { viewBox: box, width: larger * box.split(' ')[2], role: 'img', class: 'sheet', 'aria-label': bc.units.said(name) });
    for (const [cls, steps] of paths) {
      const d = path(steps);
      svg.append(make('path', { class: cls, d: cls === 'k-torn' ? torn(d) : d }));
    }
    for (const [cls, x, y, anchor, long, turn, text] of words) {
      const e = make('text', {
        class: cls, x, y, 'font-size': size, 'text-anchor': anchor, textLength: long + bc.units.longer(text) * DIGIT * size, lengthAdjust: 'spacingAndGlyphs',
      });
      if (turn) e.setAttribute('transform', `rotate(${-turn} ${x} ${y})`);
      e.textContent = bc.units.words(text);
      svg.append(e);
    }
    return svg;
  }

  /* A path from its steps, whole tenths of a pixel, each from the point before it (section_svg.py). */
  function path(steps) {
    let [x, y] = [0, 0];
    return steps.replace(/([mla])([-\d ]+)/g, (_, letter, numbers) => {
      const [dx, dy, radius, sweep] = numbers.match(/-?\d+/g).map(Number);
      [x, y] = [x + dx, y + dy];
      const round = letter === 'a' ? `${radius / 10} ${radius / 10} 0 0 ${sweep} ` : '';
      return `${letter.toUpperCase()}${round}${x / 10} ${y / 10}`;
    }).replace('z', 'Z');
  }

  /* An edge where the picture ends but the bone goes on: a small wave between two points. */
  function torn(d) {
    const [x0, y0, x1, y1] = d.match(/-?[\d.]+/g).map(Number);
    const long = Math.hypot(x1 - x0, y1 - y0) || 1;
    const n = Math.max(2, Math.round(long / 5.5));
    let out = `M${x0} ${y0}`;
    for (let i = 1; i < n; i++) {
      const off = i % 2 ? 1.2 : -1.2;
      out += `L${(x0 + (x1 - x0) * i / n + off * (y1 - y0) / long).toFixed(1)} ${
        (y0 + (y1 - y0) * i / n - off * (x1 - x0) / long).toFixed(1)}`;
    }
    return out + `L${x1} ${y1}`;
  }

  /* A string's numbers as pairs of words and value. */
  function table(spot) {
    const list = document.createElement('dl');
    const row = (words, value) => {
      const [dt, dd] = [document.createElement('dt'), document.createElement('dd')];
      dt.textContent = words;
      dd.textContent = value;
      const pair = document.createElement('div');
      pair.append(dt, dd);
      list.append(pair);
    };
    for (const f of spot.facts) {
      row(f.words, f.unit === 'mm' ? bc.units.length(f.value, f.digits) : f.value.toFixed(f.digits) + f.unit);
    }
    if (spot.remark) row('made', spot.remark);
    return list;
  }

  Object.assign(bc, { slot: { SlotView } });
})(window.blankcam = window.blankcam || {});
