/**
 * Codes R, G, B as DPX has them (SMPTE ST 268-1), big-endian: 10 bits in one 32-bit word a pixel, R in the upper ten bits, two bits free at the end (filled to
 * words by method A); 12 bits in a 16-bit word a code, four bits free at its end (method A again); 16 bits in a word each.
 */

@inline
function words(r: v128, g: v128, b: v128): v128 {
  const word = v128.or(v128.or(i32x4.shl(r, 22), i32x4.shl(g, 12)), i32x4.shl(b, 2));
  return i8x16.shuffle(word, word, 3, 2, 1, 0, 7, 6, 5, 4, 11, 10, 9, 8, 15, 14, 13, 12);
}

/** `r`, `g`, `b`: u16 planes of `count` codes of 0 to 1023. */
export function pack10(r: usize, g: usize, b: usize, count: i32, to: usize): void {
  let at = 0;
  for (; at + 8 <= count; at += 8) {
    const place = usize(at) << 1;
    const red = v128.load(r + place);
    const green = v128.load(g + place);
    const blue = v128.load(b + place);
    v128.store(to + (usize(at) << 2), words(i32x4.extend_low_i16x8_u(red), i32x4.extend_low_i16x8_u(green), i32x4.extend_low_i16x8_u(blue)));
    v128.store(to + (usize(at) << 2), words(i32x4.extend_high_i16x8_u(red), i32x4.extend_high_i16x8_u(green), i32x4.extend_high_i16x8_u(blue)), 16);
  }
  for (; at < count; at++) {
    const place = usize(at) << 1;
    store<u32>(to + (usize(at) << 2), bswap(u32(load<u16>(r + place)) << 22 | u32(load<u16>(g + place)) << 12 | u32(load<u16>(b + place)) << 2));
  }
}

/** `r`, `g`, `b`: u16 planes of `count` codes; each goes `shift` bits up in its word. */
export function packWords(r: usize, g: usize, b: usize, count: i32, shift: i32, to: usize): void {
  for (let at = 0; at < count; at++) {
    const place = usize(at) << 1;
    store<u16>(to, bswap<u16>(load<u16>(r + place) << u16(shift)));
    store<u16>(to, bswap<u16>(load<u16>(g + place) << u16(shift)), 2);
    store<u16>(to, bswap<u16>(load<u16>(b + place) << u16(shift)), 4);
    to += 6;
  }
}
