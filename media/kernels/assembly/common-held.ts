/**
 * V8 computes again in every turn of a loop what it can compute from other values, constants and addresses too, rather than keep it. What comes out
 * of memory it keeps: these values go through there once, in front of the loop.
 */
const PLACE: usize = memory.data(16, 16);

@inline
export function held(address: usize): usize {
  store<usize>(PLACE, address);
  return load<usize>(PLACE);
}

/** In all four lanes. */
@inline
export function heldFloat(value: f32): v128 {
  store<f32>(PLACE, value);
  return v128.load32_splat(PLACE);
}

@inline
export function heldWord(value: i32): v128 {
  store<i32>(PLACE, value);
  return v128.load32_splat(PLACE);
}

/** In both lanes. */
@inline
export function heldDouble(value: f64): v128 {
  store<f64>(PLACE, value);
  return v128.load64_splat(PLACE);
}
