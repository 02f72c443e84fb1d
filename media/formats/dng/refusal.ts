/** Why a DNG file that is whole is no frame that this program develops: everything that speaks against it, in words. */
export class DngRefusal extends Error {
  readonly reasons: readonly string[];
  constructor(reasons: readonly string[]) {
    super(reasons.join('; '));
    this.name = 'DngRefusal';
    this.reasons = reasons;
  }
}
