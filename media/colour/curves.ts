/**
 * Published transfer curves (titles beside each; dates from memory), in double precision and without a clamp: `decode` from code values to linear light, `encode`
 * back. Code values are of full scale (10-bit code / 1023), linear light is of the scene with 0.18 for a grey card and 1.0 for
 * a perfect white, unless a curve says otherwise.
 *
 * Where a formula goes on below its black it is used as it stands (every camera log curve here has a straight line there,
 * `acescc` an exponential). Where a standard is silent about negative values the curve is continued odd-symmetrically,
 * f(-x) = -f(x), as IEC 61966-2-4 does for BT.709 and IEC 61966-2-1 (amendment 1) for sRGB: nothing that undershoots is lost.
 */

export const curveNames = [
  'linear',
  'slog2',
  'slog3',
  'logc3',
  'logc4',
  'vlog',
  'log3g10',
  'flog',
  'flog2',
  'nlog',
  'dlog',
  'acescct',
  'acescc',
  'acesproxy10',
  'acesproxy12',
  'cineon',
  'bt709',
  'bt1886',
  'srgb',
  'pq',
  'hlg',
] as const;
export type CurveName = (typeof curveNames)[number];

/** Exposure indices for which the parameters of `logc3` are published without a shoulder. */
export const logc3Indices = [160, 200, 250, 320, 400, 500, 640, 800, 1000, 1280, 1600] as const;
export type Logc3Index = (typeof logc3Indices)[number];

/** A curve with what it needs to be known exactly. */
export type PublishedCurve =
  | { readonly name: Exclude<CurveName, 'logc3' | 'pq' | 'hlg'> }
  /** From channel independent density to relative exposure: a part of ADX alone (adx.ts), and nothing that people pair with a gamut. */
  | { readonly name: 'adx' }
  /** The curve depends on the exposure index that the camera was set to. */
  | { readonly name: 'logc3'; readonly ei: Logc3Index }
  /** `nits_of_one`: the luminance in cd/m² that becomes 1.0. */
  | { readonly name: 'pq'; readonly nits_of_one: number }
  /** `signal_of_one`: the signal that becomes 1.0; at 1 it is the E of ITU-R BT.2100, at 0.75 the reference white of ITU-R BT.2408. */
  | { readonly name: 'hlg'; readonly signal_of_one: number };

interface Pair {
  readonly decode: (code: number) => number;
  readonly encode: (linear: number) => number;
}

const odd =
  (half: (value: number) => number) =>
  (value: number): number =>
    value < 0 ? -half(-value) : half(value);
const oddPair = ({ decode, encode }: Pair): Pair => ({ decode: odd(decode), encode: odd(encode) });

/**
 * “S-Log2 Technical Paper” (2012): in parts of 0.9 reflectance, 155 of which become 219, and in video level, 64 to 940 of 1023.
 * The straight part below 0 is the paper's of S-Log.
 */
export const SLOG2 = {
  scale: 155 / 219 / 0.9,
  gain: 0.432699,
  offset: 0.037584,
  lift: 0.616596 + 0.03,
  slope: 5,
  black: 0.030001222851889303,
  level: 876 / 1023,
  floor: 64 / 1023,
} as const;
const slog2: Pair = {
  decode: (y) => {
    const level = (y - SLOG2.floor) / SLOG2.level;
    const light =
      level >= SLOG2.black
        ? 10 ** ((level - SLOG2.lift) / SLOG2.gain) - SLOG2.offset
        : (level - SLOG2.black) / SLOG2.slope;
    return light / SLOG2.scale;
  },
  encode: (x) => {
    const light = x * SLOG2.scale;
    const level =
      light >= 0
        ? SLOG2.gain * Math.log10(light + SLOG2.offset) + SLOG2.lift
        : light * SLOG2.slope + SLOG2.black;
    return level * SLOG2.level + SLOG2.floor;
  },
};

/** “Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3” (undated; in circulation since 2014), section “S-Log3”. */
export const SLOG3 = {
  slope: 261.5,
  offset: 420,
  grey: 0.19,
  lift: 0.01,
  cut: 0.01125,
  cutCode: 171.2102946929,
  black: 95,
  codes: 1023,
} as const;
const slog3: Pair = {
  decode: (y) =>
    y * 1023 >= SLOG3.cutCode
      ? 10 ** ((y * 1023 - SLOG3.offset) / SLOG3.slope) * SLOG3.grey - SLOG3.lift
      : ((y * 1023 - SLOG3.black) * SLOG3.cut) / (SLOG3.cutCode - SLOG3.black),
  encode: (x) =>
    x >= SLOG3.cut
      ? (SLOG3.offset + SLOG3.slope * Math.log10((x + SLOG3.lift) / SLOG3.grey)) / 1023
      : ((x * (SLOG3.cutCode - SLOG3.black)) / SLOG3.cut + SLOG3.black) / 1023,
};

/** cut, b, c, d, e, f of “Log C Curve – Usage in VFX” (9 March 2017), table of the curve's parameters (scene exposure, the values for linear scene data); a is 5.555556 for all. */
export const LOGC3: Readonly<
  Record<Logc3Index, readonly [cut: number, b: number, c: number, d: number, e: number, f: number]>
> = {
  160: [0.005561, 0.080216, 0.269036, 0.381991, 5.842037, 0.092778],
  200: [0.006208, 0.076621, 0.266007, 0.382478, 5.776265, 0.092782],
  250: [0.006871, 0.072941, 0.262978, 0.382966, 5.710494, 0.092786],
  320: [0.007622, 0.068768, 0.259627, 0.383508, 5.637732, 0.092791],
  400: [0.008318, 0.064901, 0.256598, 0.383999, 5.57196, 0.092795],
  500: [0.009031, 0.060939, 0.253569, 0.384493, 5.506188, 0.0928],
  640: [0.00984, 0.056443, 0.250219, 0.38504, 5.433426, 0.092805],
  800: [0.010591, 0.052272, 0.24719, 0.385537, 5.367655, 0.092809],
  1000: [0.011361, 0.047996, 0.244161, 0.386036, 5.301883, 0.092814],
  1280: [0.012235, 0.043137, 0.24081, 0.38659, 5.229121, 0.092819],
  1600: [0.013047, 0.038625, 0.237781, 0.387093, 5.16335, 0.092824],
};
export const LOGC3_A = 5.555556;
function logc3(ei: Logc3Index): Pair {
  const [cut, b, c, d, e, f] = LOGC3[ei];
  return {
    decode: (y) => (y > e * cut + f ? (10 ** ((y - d) / c) - b) / LOGC3_A : (y - f) / e),
    encode: (x) => (x > cut ? c * Math.log10(LOGC3_A * x + b) + d : e * x + f),
  };
}

/** “LogC4 Logarithmic Color Space Specification” (1 May 2022). */
const logc4a = (2 ** 18 - 16) / 117.45;
const logc4b = (1023 - 95) / 1023;
const logc4c = 95 / 1023;
export const LOGC4 = {
  a: logc4a,
  b: logc4b,
  c: logc4c,
  s: (7 * Math.LN2 * 2 ** (7 - (14 * logc4c) / logc4b)) / (logc4a * logc4b),
  t: (2 ** (6 - (14 * logc4c) / logc4b) - 64) / logc4a,
} as const;
const logc4: Pair = {
  decode: (y) =>
    y >= 0 ? (2 ** ((14 * (y - LOGC4.c)) / LOGC4.b + 6) - 64) / LOGC4.a : y * LOGC4.s + LOGC4.t,
  encode: (x) =>
    x >= LOGC4.t ? ((Math.log2(LOGC4.a * x + 64) - 6) / 14) * LOGC4.b + LOGC4.c : (x - LOGC4.t) / LOGC4.s,
};

/** “V-Log/V-Gamut Reference Manual”, revision 1.0 (28 November 2014). */
export const VLOG = {
  b: 0.00873,
  c: 0.241514,
  d: 0.598206,
  slope: 5.6,
  offset: 0.125,
  cut: 0.01,
  cutCode: 0.181,
} as const;
const vlog: Pair = {
  decode: (y) => (y < VLOG.cutCode ? (y - VLOG.offset) / VLOG.slope : 10 ** ((y - VLOG.d) / VLOG.c) - VLOG.b),
  encode: (x) => (x < VLOG.cut ? VLOG.slope * x + VLOG.offset : VLOG.c * Math.log10(x + VLOG.b) + VLOG.d),
};

/** The white paper on RWG and Log3G10 (2017), version 3 of the curve. */
export const LOG3G10 = { a: 0.224282, b: 155.975327, c: 0.01, g: 15.1927 } as const;
const log3g10: Pair = {
  decode: (y) => (y < 0 ? y / LOG3G10.g : (10 ** (y / LOG3G10.a) - 1) / LOG3G10.b) - LOG3G10.c,
  encode: (x) =>
    x + LOG3G10.c < 0 ? (x + LOG3G10.c) * LOG3G10.g : LOG3G10.a * Math.log10((x + LOG3G10.c) * LOG3G10.b + 1),
};

/** a to f and both cuts of “F-Log Data Sheet”, version 1.1, and “F-Log2 Data Sheet”, version 1.0 (both 2022). */
export const FLOG = {
  flog: {
    cut: 0.00089,
    cutCode: 0.100537775223865,
    a: 0.555556,
    b: 0.009468,
    c: 0.344676,
    d: 0.790453,
    e: 8.735631,
    f: 0.092864,
  },
  flog2: {
    cut: 0.000889,
    cutCode: 0.100686685370811,
    a: 5.555556,
    b: 0.064829,
    c: 0.245281,
    d: 0.384316,
    e: 8.799461,
    f: 0.092864,
  },
} as const;
function flogOf({ cut, cutCode, a, b, c, d, e, f }: (typeof FLOG)['flog' | 'flog2']): Pair {
  return {
    decode: (y) => (y < cutCode ? (y - f) / e : (10 ** ((y - d) / c) - b) / a),
    encode: (x) => (x < cut ? e * x + f : c * Math.log10(a * x + b) + d),
  };
}
const flog = flogOf(FLOG.flog);
const flog2 = flogOf(FLOG.flog2);

/** “N-Log Specification Document”, version 1.0.0 (2018). Below black the cube goes on as it stands. */
export const NLOG = {
  cut: 0.328,
  cutCode: 452 / 1023,
  a: 650 / 1023,
  b: 0.0075,
  c: 150 / 1023,
  d: 619 / 1023,
} as const;
const nlog: Pair = {
  decode: (y) => (y < NLOG.cutCode ? (y / NLOG.a) ** 3 - NLOG.b : Math.exp((y - NLOG.d) / NLOG.c)),
  encode: (x) => (x < NLOG.cut ? NLOG.a * Math.cbrt(x + NLOG.b) : NLOG.c * Math.log(x) + NLOG.d),
};

/** “White Paper on D-Log and D-Gamut” (2017). Its two directions have numbers of their own, which meet within 3e-7 of the light. */
export const DLOG = {
  slope: 6.025,
  offset: 0.0929,
  a: 0.9892,
  b: 0.0108,
  cut: 0.0078,
  c: 0.256663,
  d: 0.584555,
  cutCode: 0.14,
  e: 3.89616,
  f: 2.27752,
} as const;
const dlog: Pair = {
  decode: (y) =>
    y <= DLOG.cutCode ? (y - DLOG.offset) / DLOG.slope : (10 ** (DLOG.e * y - DLOG.f) - DLOG.b) / DLOG.a,
  encode: (x) =>
    x <= DLOG.cut ? DLOG.slope * x + DLOG.offset : DLOG.c * Math.log10(DLOG.a * x + DLOG.b) + DLOG.d,
};

/** Academy S-2016-001, of linear AP1. The limit at 65504 is left away: half float has its own. */
export const ACESCCT = {
  a: 10.5402377416545,
  b: 0.0729055341958355,
  cut: 0.0078125,
  cutCode: 0.155251141552511,
} as const;
const acescct: Pair = {
  decode: (y) => (y <= ACESCCT.cutCode ? (y - ACESCCT.b) / ACESCCT.a : 2 ** (y * 17.52 - 9.72)),
  encode: (x) => (x <= ACESCCT.cut ? ACESCCT.a * x + ACESCCT.b : (Math.log2(x) + 9.72) / 17.52),
};

/** Academy S-2014-003, of linear AP1, without the limit at 65504. Zero and all that is below it have one code by the standard. */
const acescc: Pair = {
  decode: (y) =>
    y <= (9.72 - 15) / 17.52 ? (2 ** (y * 17.52 - 9.72) - 2 ** -16) * 2 : 2 ** (y * 17.52 - 9.72),
  encode: (x) =>
    x <= 0
      ? (-16 + 9.72) / 17.52
      : x < 2 ** -15
        ? (Math.log2(2 ** -16 + x / 2) + 9.72) / 17.52
        : (Math.log2(x) + 9.72) / 17.52,
};

/**
 * Academy S-2013-001, of linear AP1, in the 10 and the 12 bits of video: codes that the standard leaves out go on by the formula, and
 * light of 2^-9.72 and less has the lowest code.
 */
export const ACESPROXY = {
  acesproxy10: { most: 1023, lowest: 64, stop: 50, middle: 425 },
  acesproxy12: { most: 4095, lowest: 256, stop: 200, middle: 1700 },
  log: 2.5,
  least: 2 ** -9.72,
} as const;
function acesproxyOf({
  most,
  lowest,
  stop,
  middle,
}: (typeof ACESPROXY)['acesproxy10' | 'acesproxy12']): Pair {
  return {
    decode: (y) => 2 ** ((y * most - middle) / stop - ACESPROXY.log),
    encode: (x) => (x > ACESPROXY.least ? (Math.log2(x) + ACESPROXY.log) * stop + middle : lowest) / most,
  };
}
const acesproxy10 = acesproxyOf(ACESPROXY.acesproxy10);
const acesproxy12 = acesproxyOf(ACESPROXY.acesproxy12);

/**
 * ADX, the Academy's transform “ACEScsc.ADX10_to_ACES” (a1.0.0; SMPTE ST 2065-3): log10 of the relative exposure at channel independent densities,
 * straight between them; below the first its value, beyond the last a line of its own.
 */
export const ADX = {
  points: [
    [-0.19, -6],
    [0.01, -2.721718645],
    [0.028, -2.521718645],
    [0.054, -2.321718645],
    [0.095, -2.121718645],
    [0.145, -1.921718645],
    [0.22, -1.721718645],
    [0.3, -1.521718645],
    [0.4, -1.321718645],
    [0.5, -1.121718645],
    [0.6, -0.926545676714876],
  ],
  slope: 100 / 55,
  offset: -(((7120 - 1520) / 8000) * (100 / 55) - Math.log10(0.18)),
} as const;
/** Straight pieces of the curve, each from a density on. */
export const adxLines: readonly { readonly from: number; readonly slope: number; readonly offset: number }[] =
  ADX.points.map(([x, y], index) => {
    const next = ADX.points[index + 1];
    if (next === undefined) return { from: x, slope: ADX.slope, offset: ADX.offset };
    const slope = (next[1] - y) / (next[0] - x);
    return { from: x, slope, offset: y - slope * x };
  });
const adx: Pair = {
  decode: (density) => {
    const line = adxLines.findLast(({ from }) => density > from);
    return 10 ** (line === undefined ? ADX.points[0][1] : line.slope * density + line.offset);
  },
  encode: (light) => {
    const log = Math.log10(Math.max(light, SMALLEST));
    const line = adxLines.findLast(({ from, slope, offset }) => log > slope * from + offset);
    return line === undefined ? ADX.points[0][0] : (log - line.offset) / line.slope;
  },
};

/** 2^-126: what logarithms take instead of anything smaller. */
export const SMALLEST = 2 ** -126;

/**
 * Printing density: black 95, white 685, 0.002 density a code, negative gamma 0.6. The conversion that film scans are commonly read by;
 * ST 268 leaves it to its users. From memory; the library against which it is checked has the same numbers.
 */
export const CINEON = { white: 685, perDecade: 300, black: 10 ** ((95 - 685) / 300) } as const;
const cineon: Pair = {
  decode: (y) => (10 ** ((1023 * y - CINEON.white) / CINEON.perDecade) - CINEON.black) / (1 - CINEON.black),
  // Below -0.0109 there is no density: the logarithm ends at the smallest normal float32, as in the Common LUT Format.
  encode: (x) =>
    (CINEON.white +
      CINEON.perDecade * Math.log10(Math.max(x * (1 - CINEON.black) + CINEON.black, SMALLEST))) /
    1023,
};

/** ITU-R BT.709 and BT.2020, the camera's curve with the numbers as printed: the scene's light, not the display's. */
const bt709: Pair = oddPair({
  decode: (v) => (v < 0.081 ? v / 4.5 : ((v + 0.099) / 1.099) ** (1 / 0.45)),
  encode: (l) => (l < 0.018 ? 4.5 * l : 1.099 * l ** 0.45 - 0.099),
});

/** ITU-R BT.1886 with a black of 0: the light of the display. */
const bt1886: Pair = oddPair({ decode: (v) => v ** 2.4, encode: (l) => l ** (1 / 2.4) });

/** IEC 61966-2-1. */
const srgb: Pair = oddPair({
  decode: (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4),
  encode: (l) => (l <= 0.0031308 ? l * 12.92 : 1.055 * l ** (1 / 2.4) - 0.055),
});

/** SMPTE ST 2084, ITU-R BT.2100. */
export const PQ = {
  m1: 2610 / 16384,
  m2: (2523 / 4096) * 128,
  c1: 3424 / 4096,
  c2: (2413 / 4096) * 32,
  c3: (2392 / 4096) * 32,
  mostSignal: 1.25,
  mostNits: 1e6,
} as const;
/**
 * The standard ends at signal 1. The formula is continued, since codes above the nominal peak exist (to 1.096 in narrow
 * range), and ends at signal 1.25, and at 10⁶ cd/m² on the way back, short of where it has a pole.
 */
function pq(nits_of_one: number): Pair {
  const { m1, m2, c1, c2, c3 } = PQ;
  return oddPair({
    decode: (signal) => {
      const root = Math.min(signal, PQ.mostSignal) ** (1 / m2);
      return (10000 / nits_of_one) * (Math.max(root - c1, 0) / (c2 - c3 * root)) ** (1 / m1);
    },
    encode: (linear) => {
      const power = (Math.min(linear * nits_of_one, PQ.mostNits) / 10000) ** m1;
      return ((c1 + c2 * power) / (1 + c3 * power)) ** m2;
    },
  });
}

/** ITU-R BT.2100, the inverse of the camera's curve: the scene's light, no display's rendering. */
export const HLG = { a: 0.17883277, b: 0.28466892, c: 0.55991073 } as const;
const hlgLight = (signal: number): number =>
  signal <= 0.5 ? signal ** 2 / 3 : (Math.exp((signal - HLG.c) / HLG.a) + HLG.b) / 12;
export function hlgScale(signal_of_one: number): number {
  return 1 / hlgLight(signal_of_one);
}
function hlg(signal_of_one: number): Pair {
  const scale = hlgScale(signal_of_one);
  return oddPair({
    decode: (signal) => hlgLight(signal) * scale,
    encode: (linear) =>
      linear / scale <= 1 / 12
        ? Math.sqrt((3 * linear) / scale)
        : HLG.a * Math.log((12 * linear) / scale - HLG.b) + HLG.c,
  });
}

const linear: Pair = { decode: (value) => value, encode: (value) => value };

const OTHERS: Readonly<Record<Exclude<PublishedCurve['name'], 'logc3' | 'pq' | 'hlg'>, Pair>> = {
  linear,
  slog2,
  slog3,
  logc4,
  vlog,
  log3g10,
  flog,
  flog2,
  nlog,
  dlog,
  acescct,
  acescc,
  acesproxy10,
  acesproxy12,
  adx,
  cineon,
  bt709,
  bt1886,
  srgb,
};

function pairOf(curve: PublishedCurve): Pair {
  switch (curve.name) {
    case 'logc3':
      return logc3(curve.ei);
    case 'pq':
      return pq(curve.nits_of_one);
    case 'hlg':
      return hlg(curve.signal_of_one);
    default:
      return OTHERS[curve.name];
  }
}

/** Code value to linear light. Finite for every finite code that is no further than about 30 from 0. */
export const decode = (curve: PublishedCurve, code: number): number => pairOf(curve).decode(code);
/** Linear light to code value. */
export const encode = (curve: PublishedCurve, linearLight: number): number =>
  pairOf(curve).encode(linearLight);
