/** Relative references of files that are handed over (RFC 3986, 4.2), as seen from the folder `handover` of the day. Pure. */
import { nameToBytes } from '../files/names.ts';

const UNRESERVED = /[A-Za-z0-9\-._~]/;

/** Every byte that is not plain is percent-encoded, so that a name is never taken for a scheme, a query or a parent folder. */
const segment = (name: string): string =>
  [...nameToBytes(name)]
    .map((byte) => {
      const character = String.fromCharCode(byte);
      return UNRESERVED.test(character) ? character : `%${byte.toString(16).toUpperCase().padStart(2, '0')}`;
    })
    .join('');

/** `path`: below the day's folder, `/` between parts. */
export const urlFromHandover = (path: string): string => `../${path.split('/').map(segment).join('/')}`;
