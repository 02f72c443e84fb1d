/**
 * Errors that cross from a thread to another. What crosses is a copy without its class, so that the name of a class says
 * nothing on the other side; the code does. Whoever asks what an error is asks for its code.
 */

/**
 * `file-damaged`: the bytes of a file cannot be what they claim to be. `frame-damaged`: the bytes of a frame cannot be what they claim to be. `frame-refused`: a whole frame of a form that is not
 * taken. `frame-undevelopable`: its tags leave no development. `decoder-failed`: a program that decodes failed.
 * `threads-ended`: the order was not carried out, since its threads were ended.
 */
export const errorCodes = [
  'file-damaged',
  'frame-damaged',
  'frame-refused',
  'frame-undevelopable',
  'decoder-failed',
  'threads-ended',
] as const;
export type ErrorCode = (typeof errorCodes)[number];

export class CodedError extends Error {
  readonly code: ErrorCode;
  constructor(code: ErrorCode, message: string) {
    super(message);
    this.name = 'CodedError';
    this.code = code;
  }
}

/** null: an error of no such code; what the system says (ENOENT, ENOSPC) is none of them. */
export function errorCodeOf(error: unknown): ErrorCode | null {
  const { code } = (error ?? {}) as { readonly code?: unknown };
  return errorCodes.find((known) => known === code) ?? null;
}
