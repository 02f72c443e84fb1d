/** What is used of a library that has no types of its own. Arrays that it returns are written again by its next call. */
declare module 'fourier-transform' {
  /** Real and imaginary parts of bins 0 to N/2, unnormalised. N is a power of 2. */
  export function fft(input: Float64Array): [Float64Array, Float64Array];
  /** The inverse of `fft`. */
  export function ifft(re: Float64Array, im: Float64Array): Float64Array;
}
