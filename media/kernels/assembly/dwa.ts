/**
 * The lossy part of DWA (OpenEXR's ImfDwaCompressor.cpp and dwaLookups.cpp describe the form; docs/notices.md): from halves R, G, B to the words
 * that stand for blocks of 8 x 8 pixels. Arithmetic of 32 and 64 bits in one order, and the curve by the compiler's own pow and log: the same words on every machine.
 */

const HALVES: i32 = 65536;
const BLOCK: i32 = 64;

/** By the bits of a half: its value on the curve, float32. */
const CURVE: usize = 0;
/** Blocks: R, G, B, which become Y', Cb, Cr; what a pass leaves; how far off coefficients may be. */
const PIXELS: usize = CURVE + 4 * 65536;
const PASS: usize = PIXELS + 3 * 4 * 64;
const OFF_Y: usize = PASS + 4 * 64;
const OFF_C: usize = OFF_Y + 4 * 64;
const WORDS: usize = OFF_C + 4 * 64;
const SCRATCH: i32 = i32(WORDS) + 2 * 64;

/** Half of the cosine of n/16 of half a turn; 0 has its root of a half besides. The rows are those of an orthonormal transform (ITU-T T.81, A.3.3). */
const C1: f32 = 0.49039264020161522;
const C2: f32 = 0.46193976625564338;
const C3: f32 = 0.41573480615127262;
const C4: f32 = 0.35355339059327376;
const C5: f32 = 0.27778511650980111;
const C6: f32 = 0.19134171618254489;
const C7: f32 = 0.09754516100806413;

/** By pixel and frequency. */
const TURNED: usize = memory.data<f32>([
  C4, C1, C2, C3, C4, C5, C6, C7,
  C4, C3, C6, -C7, -C4, -C1, -C2, -C5,
  C4, C5, -C6, -C1, -C4, C7, C2, C3,
  C4, C7, -C2, -C5, C4, C3, -C6, -C1,
  C4, -C7, -C2, C5, C4, -C3, -C6, C1,
  C4, -C5, -C6, C1, -C4, -C7, C2, -C3,
  C4, -C3, C6, C7, -C4, C1, -C2, C5,
  C4, -C1, C2, -C3, C4, -C5, C6, -C7,
]);

/** ITU-T T.81, K.1 and K.2: of each the whole table counts by its least entry. */
const TABLE_Y: usize = memory.data<u8>([
  16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55,
  14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87, 80, 62,
  18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92,
  49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99,
]);
const LEAST_Y: f32 = 10;
const TABLE_C: usize = memory.data<u8>([
  17, 18, 24, 47, 99, 99, 99, 99, 18, 21, 26, 66, 99, 99, 99, 99,
  24, 26, 56, 99, 99, 99, 99, 99, 47, 66, 99, 99, 99, 99, 99, 99,
  99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99,
  99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99,
]);
const LEAST_C: f32 = 17;
/** T.81, figure A.6. */
const ZIGZAG: usize = memory.data<u8>([
  0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5,
  12, 19, 26, 33, 40, 48, 41, 34, 27, 20, 13, 6, 7, 14, 21, 28,
  35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51,
  58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63,
]);

/** How a reader comes back: R = Y + 1.5747 Cr, B = Y + 1.8556 Cb, G = Y - 0.1873 Cb - 0.4682 Cr. What is made of R, G, B is its inverse. */
const RED: f64 = 1.5747;
const BLUE: f64 = 1.8556;
const OF_RED: f64 = 0.4682 / RED;
const OF_BLUE: f64 = 0.1873 / BLUE;
const WHOLE: f64 = 1 + OF_RED + OF_BLUE;
const Y_R: f32 = f32(OF_RED / WHOLE);
const Y_G: f32 = f32(1 / WHOLE);
const Y_B: f32 = f32(OF_BLUE / WHOLE);
const CB: f32 = f32(1 / BLUE);
const CR: f32 = f32(1 / RED);

const ZEROS: u16 = 0xff00;

export function dwaScratchBytes(): i32 {
  return SCRATCH;
}

function valueOf(half: i32): f64 {
  const exponent = (half >> 10) & 31;
  const fraction = half & 1023;
  let size: f64 = exponent == 0 ? f64(fraction) : f64(1024 + fraction);
  for (let e = exponent == 0 ? 1 : exponent; e < 25; e++) size *= 0.5;
  for (let e = 25; e < exponent; e++) size *= 2;
  return size;
}

/** The curve, and how far off the coefficients of a level may be. `level`: dwaCompressionLevel. Once for all frames. */
export function dwaPrepare(level: f32, scratch: usize): void {
  for (let half = 0; half < HALVES; half++) {
    let z: f64 = 0;
    if ((half & 0x7c00) != 0x7c00) {
      const x = valueOf(half & 0x7fff);
      if (x > 1) z = Math.log(x) / 2.2 + 1;
      else if (x > 0) z = Math.pow(x, 1 / 2.2);
    }
    store<f32>(scratch + CURVE + (usize(half) << 2), f32(half & 0x8000 ? -z : z));
  }
  const base: f32 = level / 100000;
  for (let i = 0; i < BLOCK; i++) {
    store<f32>(scratch + OFF_Y + (usize(i) << 2), base * f32(load<u8>(TABLE_Y + usize(i))) / LEAST_Y);
    store<f32>(scratch + OFF_C + (usize(i) << 2), base * f32(load<u8>(TABLE_C + usize(i))) / LEAST_C);
  }
}

/** To the nearest half, ties to even. No value of a block reaches the end of the scale. */
function halfOf(value: f32): u16 {
  const bits = reinterpret<u32>(value);
  const size = bits & 0x7fff_ffff;
  const sign = (bits >> 16) & 0x8000;
  if (size < 0x3880_0000) return u16(sign | (reinterpret<u32>(reinterpret<f32>(size) + <f32>0.5) - 0x3f00_0000));
  return u16(sign | ((size - 0x3800_0000 + 0x0fff + ((size >> 13) & 1)) >> 13));
}

@inline
function floatOf(size: u32): f32 {
  // 2^112: the exponents of both count from elsewhere.
  return reinterpret<f32>(size << 13) * reinterpret<f32>(0x7780_0000);
}

/** The half with the most zeros behind it that is less than `off` from a coefficient's own: few words, which come often. */
@inline
function roughly(value: f32, off: f32): u16 {
  const half = u32(halfOf(value));
  const size = half & 0x7fff;
  const own = floatOf(size);
  // A zero has no sign, or a run would end at it.
  if (own < off || size == 0) return 0;
  for (let zeros: u32 = 14; zeros > 0; zeros--) {
    const near = ((size + ((1 << zeros) >> 1)) >> zeros) << zeros;
    if (near < 0x7c00 && abs(floatOf(near) - own) < off) return u16((half & 0x8000) | near);
  }
  return u16(half);
}

/** Rows of `from` by the turned rows of the transform, then columns. */
function transform(at: usize, pass: usize): void {
  for (let y: usize = 0; y < 8; y++) {
    const row = at + (y << 5);
    let low = f32x4.splat(0), high = f32x4.splat(0);
    for (let x: usize = 0; x < 8; x++) {
      const value = v128.load32_splat(row + (x << 2));
      low = f32x4.add(low, f32x4.mul(value, v128.load(TURNED + (x << 5))));
      high = f32x4.add(high, f32x4.mul(value, v128.load(TURNED + (x << 5), 16)));
    }
    v128.store(pass + (y << 5), low);
    v128.store(pass + (y << 5), high, 16);
  }
  for (let v: usize = 0; v < 8; v++) {
    let low = f32x4.splat(0), high = f32x4.splat(0);
    for (let y: usize = 0; y < 8; y++) {
      const weight = v128.load32_splat(TURNED + (y << 5) + (v << 2));
      low = f32x4.add(low, f32x4.mul(weight, v128.load(pass + (y << 5))));
      high = f32x4.add(high, f32x4.mul(weight, v128.load(pass + (y << 5), 16)));
    }
    v128.store(at + (v << 5), low);
    v128.store(at + (v << 5), high, 16);
  }
}

/** Words of a block behind its first: zeros in a row are one word, and those up to the end another. Gives where the next goes. */
function putWords(words: usize, to: usize): usize {
  for (let at = 1; at < BLOCK; ) {
    const word = load<u16>(words + (usize(at) << 1));
    let run = 1;
    if (word == 0) while (at + run < BLOCK && load<u16>(words + (usize(at + run) << 1)) == 0) run++;
    if (run == 1) store<u16>(to, word);
    else store<u16>(to, at + run == BLOCK ? ZEROS : ZEROS | u16(run));
    to += 2;
    at += run;
  }
  return to;
}

/**
 * Blocks of some lines. `planes`: halves R, G, B, `width` x `count` of each, one channel behind the other. `dc`: room for a word a block and channel: all of Y', of
 * Cb, of Cr; `ac`: for 63 a block and channel. Gives how many there are of the second. Blocks that reach over an edge go on with its last pixel.
 */
export function dwaBlocks(planes: usize, width: i32, count: i32, scratch: usize, dc: usize, ac: usize): i32 {
  const pixels = scratch + PIXELS;
  const words = scratch + WORDS;
  const across = (width + 7) >> 3;
  const down = (count + 7) >> 3;
  const plane = usize(width * count) << 1;
  let to = ac;
  for (let by = 0; by < down; by++)
    for (let bx = 0; bx < across; bx++) {
      for (let y = 0; y < 8; y++) {
        const line = usize(min(8 * by + y, count - 1) * width);
        for (let x = 0; x < 8; x++) {
          const from = planes + ((line + usize(min(8 * bx + x, width - 1))) << 1);
          const r = load<f32>(scratch + CURVE + (usize(load<u16>(from)) << 2));
          const g = load<f32>(scratch + CURVE + (usize(load<u16>(from + plane)) << 2));
          const b = load<f32>(scratch + CURVE + (usize(load<u16>(from + 2 * plane)) << 2));
          const light: f32 = Y_R * r + Y_G * g + Y_B * b;
          const at = pixels + (usize(8 * y + x) << 2);
          store<f32>(at, light);
          store<f32>(at, CB * (b - light), 256);
          store<f32>(at, CR * (r - light), 512);
        }
      }
      for (let channel = 0; channel < 3; channel++) {
        const block = pixels + (usize(channel) << 8);
        transform(block, scratch + PASS);
        const off = scratch + (channel == 0 ? OFF_Y : OFF_C);
        for (let i = 0; i < BLOCK; i++) {
          const place = usize(load<u8>(ZIGZAG + usize(i))) << 2;
          store<u16>(words + (usize(i) << 1), roughly(load<f32>(block + place), load<f32>(off + place)));
        }
        store<u16>(dc + (usize((channel * down + by) * across + bx) << 1), load<u16>(words));
        to = putWords(words, to);
      }
    }
  return i32((to - ac) >> 1);
}
