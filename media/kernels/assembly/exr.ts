/** Placeholder for a first look at the compiler. */
export function addOne(at: usize, count: i32): void {
  for (let i = 0; i < count; i += 4) {
    const p = at + (usize(i) << 2);
    v128.store(p, f32x4.add(v128.load(p), f32x4.splat(1)));
  }
}
