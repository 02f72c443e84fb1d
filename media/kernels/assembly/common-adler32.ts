/** The check sum of a zlib stream (RFC 1950, 9). Sums of 32 bytes at a time; 5536 of them before the sums outgrow 32 bits. */
export function adler32(from: usize, size: i32): u32 {
  let a: u32 = 1;
  let b: u32 = 0;
  let at = from;
  const end = from + usize(size);
  const first = i8x16(32, 31, 30, 29, 28, 27, 26, 25, 24, 23, 22, 21, 20, 19, 18, 17);
  const second = i8x16(16, 15, 14, 13, 12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1);
  while (at + 32 <= end) {
    const stop = end - at < 5536 ? at + ((end - at) & ~31) : at + 5536;
    b += a * u32(stop - at);
    let sums = i32x4.splat(0);
    let before = i32x4.splat(0);
    let weighted = i32x4.splat(0);
    for (; at < stop; at += 32) {
      const x = v128.load(at);
      const y = v128.load(at, 16);
      before = i32x4.add(before, sums);
      sums = i32x4.add(sums, i32x4.extadd_pairwise_i16x8_u(i16x8.add(i16x8.extadd_pairwise_i8x16_u(x), i16x8.extadd_pairwise_i8x16_u(y))));
      weighted = i32x4.add(weighted, i32x4.extadd_pairwise_i16x8_u(i16x8.add(i16x8.extmul_low_i8x16_u(x, first), i16x8.extmul_high_i8x16_u(x, first))));
      weighted = i32x4.add(weighted, i32x4.extadd_pairwise_i16x8_u(i16x8.add(i16x8.extmul_low_i8x16_u(y, second), i16x8.extmul_high_i8x16_u(y, second))));
    }
    a += laneSum(sums);
    b += laneSum(i32x4.add(weighted, i32x4.shl(before, 5)));
    a %= 65521;
    b %= 65521;
  }
  for (; at < end; at++) {
    a += load<u8>(at);
    b += a;
  }
  return (b % 65521) << 16 | (a % 65521);
}
@inline
function laneSum(v: v128): u32 {
  return u32(i32x4.extract_lane(v, 0)) + u32(i32x4.extract_lane(v, 1)) + u32(i32x4.extract_lane(v, 2)) + u32(i32x4.extract_lane(v, 3));
}
