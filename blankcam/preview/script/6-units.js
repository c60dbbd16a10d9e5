'use strict';

/* Lengths in millimetres or inches, everywhere on the page at once. */
(function (bc) {
  let unit = 'mm';

  /* A length as text; one digit more in inches, as a thou is about a fortieth of a millimetre. */
  function shown(mm, digits, signed) {
    const value = unit === 'mm' ? mm : mm / 25.4;
    let text = value.toFixed(unit === 'mm' ? digits : digits + 1);
    if (Number(text) === 0) text = text.replace('-', '');
    else if (signed && value > 0) text = '+' + text;
    return text.replace('-', '\u2212');
  }

  function length(mm, digits) {
    return shown(mm, digits, false) + '\u00a0' + unit;
  }

  /* Words whose lengths stand in braces, with their decimals where not 2 (switched.py). */
  function words(text, show = shown) {
    return text.replace(/\{(-?[\d.]+)(?:;(\d))?\}/g, (_, mm, d) => show(Number(mm), Number(d || 2)));
  }

  /* The same, with the unit named after them. */
  function said(text) {
    return words(text).replace(/\bmm\b/g, unit);
  }

  /* How many letters longer they are than in millimetres. */
  function longer(text) {
    return words(text).length - words(text, (mm, d) => mm.toFixed(d)).length;
  }

  function refresh(root) {
    for (const e of root.querySelectorAll('[data-mm]')) {
      const { mm, d, sign, u } = e.dataset;
      e.textContent = shown(Number(mm), Number(d ?? 2), sign === '1') + (u ? '\u00a0' + unit : '');
    }
    for (const e of root.querySelectorAll('.unit')) e.textContent = unit;
  }

  function use(name, root) {
    unit = name;
    refresh(root);
  }

  Object.assign(bc, { units: { shown, length, words, said, longer, refresh, use, get name() { return unit; } } });
})(window.blankcam = window.blankcam || {});
