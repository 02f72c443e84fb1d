/** Who is let in: a reader who asks for this server by its name, only reads, and has the token where there is one. Pure. */
import { isAskedFor, type ServeAddress } from './address.ts';
import { cookieOf, hasProof, isBearer, isToken } from './token.ts';

export interface Asked {
  readonly method: string;
  readonly host: string | undefined;
  readonly cookie: string | undefined;
  /** `token` of the address; undefined: none. */
  readonly token: string | undefined;
  /** Authorization; undefined: none. */
  readonly authorization: string | undefined;
  /** Sec-Fetch-Site (W3C, Fetch Metadata); undefined: the browser does not say. */
  readonly site: string | undefined;
  /** Sec-Fetch-Mode. */
  readonly mode: string | undefined;
}

export interface Door {
  readonly bound: ServeAddress;
  /** What this machine is called. */
  readonly names: readonly string[];
  /** null: whoever reaches it may read. */
  readonly token: string | null;
}

export type Answer =
  | { readonly kind: 'in' }
  | { readonly kind: 'sent-on'; readonly cookie: string }
  | { readonly kind: 'refused'; readonly status: 401 | 403 | 405 | 421; readonly why: string };

const refused = (status: 401 | 403 | 405 | 421, why: string): Answer => ({ kind: 'refused', status, why });

export function answerAt({ bound, names, token }: Door, asked: Asked): Answer {
  // First of all: what comes under a strange name is told nothing.
  if (!isAskedFor(asked.host, bound, names)) return refused(421, 'This is not the address of this page.');
  if (asked.method !== 'GET') return refused(405, 'This page only shows.');
  // Another site's page may link here; it may not embed, frame or fetch anything.
  if (asked.site === 'cross-site' && asked.mode !== undefined && asked.mode !== 'navigate')
    return refused(403, 'Another site asks for this.');
  if (token === null) return { kind: 'in' };
  if (asked.authorization !== undefined)
    return isBearer(asked.authorization, token) ? { kind: 'in' } : refused(401, NO_BEARER);
  if (asked.token !== undefined)
    return isToken(asked.token, token)
      ? // Away from the address bar, the history, and whatever is copied from there.
        { kind: 'sent-on', cookie: cookieOf(token, bound.port) }
      : refused(401, WHOLE_ADDRESS);
  return hasProof(asked.cookie, token, bound.port) ? { kind: 'in' } : refused(401, WHOLE_ADDRESS);
}

const WHOLE_ADDRESS = 'Type the whole address, as it was printed when the page was started.';
const NO_BEARER = 'This is not the token of this server.';
