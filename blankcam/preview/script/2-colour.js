'use strict';

/* Colours by formula: OKLCh (B. Ottosson, "A perceptual color space for image processing", 2020). */
(function (bc) {
  function linear(L, C, hue) {
    const h = hue * Math.PI / 180;
    const a = C * Math.cos(h);
    const b = C * Math.sin(h);
    const l = (L + 0.3963377774 * a + 0.2158037573 * b) ** 3;
    const m = (L - 0.1055613458 * a - 0.0638541728 * b) ** 3;
    const s = (L - 0.0894841775 * a - 1.2914855480 * b) ** 3;
    return [
      4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s,
      -1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s,
      -0.0041960863 * l - 0.7034186147 * m + 1.7076147010 * s,
    ];
  }

  function gamma(c) {
    const v = Math.min(Math.max(c, 0), 1);
    return v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055;
  }

  /* sRGB, each 0 to 1. */
  function oklch(L, C, hue) {
    return linear(L, C, hue).map(gamma);
  }

  /*
   * The scale of deviations, t from -1 (cut too deep) over 0 to 1 (left standing). Orange against
   * blue are told apart by all common kinds of colour vision; lightness falls evenly to both ends,
   * a little further on the deep side, so that the sides differ in grey as well.
   */
  function scale(t) {
    const f = Math.min(Math.abs(t), 1);
    return t < 0
      ? oklch(0.94 - 0.52 * f, 0.01 + 0.13 * f, 50)
      : oklch(0.94 - 0.40 * f, 0.01 + 0.13 * f, 250);
  }

  /* The scale as bytes for a texture. */
  function ramp(n) {
    const out = new Uint8Array(n * 4);
    for (let i = 0; i < n; i++) {
      const c = scale(2 * i / (n - 1) - 1);
      for (let k = 0; k < 3; k++) out[4 * i + k] = Math.round(255 * c[k]);
      out[4 * i + 3] = 255;
    }
    return out;
  }

  function css(c) {
    return 'rgb(' + c.map((v) => Math.round(255 * v)).join(' ') + ')';
  }

  Object.assign(bc, { colour: { oklch, scale, ramp, css } });
})(window.blankcam = window.blankcam || {});
