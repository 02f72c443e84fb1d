/** Why a file is not read. */
import { FileDamage } from '../../../files/bytes.ts';

/** Bytes that cannot be what they claim to be: cut off, edited, torn. The message says where and what. */
export class ExrDamage extends FileDamage {
  constructor(message: string) {
    super(message);
    this.name = 'ExrDamage';
  }
}

/** A form of OpenEXR that this reader does not take: tiles, several parts, deep samples, subsampled channels, other compressions. */
export class ExrForeign extends Error {
  constructor(message: string) {
    super(message);
    this.name = 'ExrForeign';
  }
}
