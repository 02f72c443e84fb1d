import { CodedError } from '../../../files/coded-error.ts';

/** Why a raw frame cannot be developed. */
export const undevelopableReasons = ['no-colour-matrix', 'white-balance', 'levels', 'size'] as const;
export type UndevelopableReason = (typeof undevelopableReasons)[number];

/** The frame's own tags, or what was chosen for it, leave no development. `message` is what was found. */
export class UndevelopableError extends CodedError {
  readonly reason: UndevelopableReason;
  constructor(reason: UndevelopableReason, found: string) {
    super('frame-undevelopable', found);
    this.name = 'UndevelopableError';
    this.reason = reason;
  }
}
