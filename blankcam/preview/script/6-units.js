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

  Object.assign(bc, { units: { shown, length, refresh, use } });
})(window.blankcam = window.blankcam || {});
