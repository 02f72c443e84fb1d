import { CodedError } from '../../../files/coded-error.ts';

/** Why a DNG file that is whole is no frame that this program develops: everything that speaks against it, in words. */
export class DngRefusal extends CodedError {
  readonly reasons: readonly string[];
  constructor(reasons: readonly string[]) {
    super('frame-refused', reasons.join('; '));
    this.name = 'DngRefusal';
    this.reasons = reasons;
  }
}
