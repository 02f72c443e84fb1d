/**
 * Raw frames: levels and demosaic of a Bayer mosaic (common-mosaic.ts and a file for each way), levels of pixels that have all colours, and
 * development to AP0. What is computed is said in media/raw (develop/levels.ts, demosaic, develop/highlights.ts), where each has its reference in
 * double precision.
 */
export { fine } from './common-fine';
export { half, halved } from './common-half';
export { linear } from './common-linear';

const NEARLY_FULL: f32 = 0.875;

/** 0 up to NEARLY_FULL, 1 from 1 on, 3t² − 2t³ between them. */
@inline
function fullness(value: v128): v128 {
  const t = f32x4.pmin(f32x4.pmax(f32x4.mul(f32x4.sub(value, f32x4.splat(NEARLY_FULL)), f32x4.splat(8)), f32x4.splat(0)), f32x4.splat(1));
  return f32x4.mul(f32x4.mul(t, t), f32x4.sub(f32x4.splat(3), f32x4.add(t, t)));
}

/** Towards grey by so much. Rounding alone could bring the brightest channel below what it was. */
@inline
function led(value: v128, full: v128, grey: v128): v128 {
  return f32x4.pmax(value, f32x4.add(value, f32x4.mul(full, f32x4.sub(grey, value))));
}

/**
 * Linear camera values to AP0 in place. `factors`: 9 of the matrix (rows, exposure included), 3 of the neutral, 3 of its
 * reciprocals, all f32. `policy`: what is done to full pixels before (media/raw/develop/highlights.ts): 0 keep, 1 neutral, 2 by-channel.
 */
export function toAp0(r: usize, g: usize, b: usize, count: i32, factors: usize, policy: i32): void {
  const m00 = v128.load32_splat(factors);
  const m01 = v128.load32_splat(factors, 4);
  const m02 = v128.load32_splat(factors, 8);
  const m10 = v128.load32_splat(factors, 12);
  const m11 = v128.load32_splat(factors, 16);
  const m12 = v128.load32_splat(factors, 20);
  const m20 = v128.load32_splat(factors, 24);
  const m21 = v128.load32_splat(factors, 28);
  const m22 = v128.load32_splat(factors, 32);
  const n0 = v128.load32_splat(factors, 36);
  const n1 = v128.load32_splat(factors, 40);
  const n2 = v128.load32_splat(factors, 44);
  const i0 = v128.load32_splat(factors, 48);
  const i1 = v128.load32_splat(factors, 52);
  const i2 = v128.load32_splat(factors, 56);
  for (let i = 0; i < count; i += 4) {
    const o = usize(i) << 2;
    let x = v128.load(r + o);
    let y = v128.load(g + o);
    let z = v128.load(b + o);
    if (policy) {
      const fullest = f32x4.pmax(f32x4.pmax(x, y), z);
      if (v128.any_true(f32x4.gt(fullest, f32x4.splat(NEARLY_FULL)))) {
        const all = fullness(fullest);
        const brightest = f32x4.pmax(f32x4.pmax(f32x4.mul(x, i0), f32x4.mul(y, i1)), f32x4.mul(z, i2));
        x = led(x, policy == 1 ? all : fullness(x), f32x4.mul(brightest, n0));
        y = led(y, policy == 1 ? all : fullness(y), f32x4.mul(brightest, n1));
        z = led(z, policy == 1 ? all : fullness(z), f32x4.mul(brightest, n2));
      }
    }
    v128.store(r + o, f32x4.add(f32x4.add(f32x4.mul(m00, x), f32x4.mul(m01, y)), f32x4.mul(m02, z)));
    v128.store(g + o, f32x4.add(f32x4.add(f32x4.mul(m10, x), f32x4.mul(m11, y)), f32x4.mul(m12, z)));
    v128.store(b + o, f32x4.add(f32x4.add(f32x4.mul(m20, x), f32x4.mul(m21, y)), f32x4.mul(m22, z)));
  }
}

/**
 * Levels of a picture of which every pixel has red, green and blue beside each other (media/raw/develop/levels.ts, linearPixels): lines `first` to `end` of
 * the crop. `plan`: u32 the crop's first sample, samples from line to line, 1 for f32 samples and 0 for u16, the crop's width, its top in the active
 * area, the table or 0, black of a line of the crop (f32, sample by sample), its rows, the deltas of rows, the planes R, G, B; three f32 of scale.
 */
export function three(plan: usize, first: i32, end: i32): void {
  const samples = usize(load<u32>(plan));
  const step = load<i32>(plan, 4);
  const float = load<i32>(plan, 8) != 0;
  const width = load<i32>(plan, 12);
  const top = load<i32>(plan, 16);
  const linear = usize(load<u32>(plan, 20));
  const black = usize(load<u32>(plan, 24));
  const rows = load<i32>(plan, 28);
  const deltas = usize(load<u32>(plan, 32));
  for (let c = 0; c < 3; c++) {
    let out = usize(load<u32>(plan + 36 + (usize(c) << 2)));
    const scale = load<f32>(plan + 48 + (usize(c) << 2));
    for (let line = first; line < end; line++) {
      const y = top + line;
      const delta = load<f32>(deltas + (usize(y) << 2));
      let b = black + ((usize(y % rows) * usize(width) * 3 + usize(c)) << 2);
      let at = usize(line) * usize(step) + usize(c);
      for (let x = 0; x < width; x++) {
        let value: f32;
        if (float) value = load<f32>(samples + (at << 2));
        else {
          const code = usize(load<u16>(samples + (at << 1)));
          value = linear != 0 ? load<f32>(linear + (code << 2)) : f32(code);
        }
        store<f32>(out, (value - load<f32>(b) - delta) * scale);
        at += 3;
        b += 12;
        out += 4;
      }
    }
  }
}
