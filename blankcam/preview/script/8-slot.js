'use strict';

/* The chosen string's slot cut along and across, beside its numbers, at the step that is shown. */
(function (bc) {
  const $ = (id) => document.getElementById(id);
  const WIDE = 610;  // px that the wide drawings take with their edges
  const WORDS = { blank: 'before the cut', rough: 'after the first cut', refit: 'after stringing', finished: 'finished' };

  class SlotView {
    constructor(data, solid) {
      this.parts = data.parts;
      this.solid = solid;
      this.sheets = null;
      this.room = document.querySelector('.instrument .paper');
      new ResizeObserver(() => this.fit()).observe(this.room);
      solid.heard = () => this.show();
    }

    async load(sections, seats) {
      const read = async (packed) => JSON.parse((await bc.unpack.text(packed)).join('\n'));
      this.sheets = sections && await read(sections);
      this.places = await read(seats);
      this.show();
    }

    /* Nut and saddle in the instrument along a string. */
    seats(string) {
      for (const [kind, all] of Object.entries(this.places || {})) {
        $('seat-' + kind).innerHTML = (all[string] || all.all)[this.drawn];
      }
      $('seat-string').textContent = string;
    }

    get layout() {
      return this.room.clientWidth >= WIDE ? 'wide' : 'narrow';
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
      const name = of[asked] ? asked : 'rough';
      const [along, across] = of[name][this.drawn];
      $('slot-string').textContent = spot.string + ', ' + spot.note;
      $('slot-stage').textContent = WORDS[name];
      $('slot-along').innerHTML = along;  // of our own making: numbers and escaped words
      $('slot-across').innerHTML = across;
      const nut = this.parts.find((p) => p.name === 'nut').spots.find((s) => s.string === spot.string);
      $('slot-facts').replaceChildren(table(nut));
    }
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
