/** What opens a server that others in the network can reach: drawn at random, short enough to be typed on a phone. */
import { createHash, createHmac, randomBytes, timingSafeEqual } from 'node:crypto';

/** No letter or digit that looks like another one. */
const LETTERS = '23456789abcdefghjkmnpqrstuvwxyz';
const LENGTH = 20;
const GROUP = 5;

/** 20 of 31 letters: 99 bits, which nobody guesses over a network. */
export function newToken(draw: (bytes: number) => Buffer = randomBytes): string {
  let token = '';
  while (token.length < LENGTH)
    for (const byte of draw(LENGTH)) {
      // What is above the last whole multiple would make some letters likelier.
      if (byte >= LETTERS.length * Math.floor(256 / LETTERS.length) || token.length >= LENGTH) continue;
      token += LETTERS[byte % LETTERS.length];
    }
  return token;
}

/** In groups, for reading off a screen. */
export const grouped = (token: string): string =>
  (token.match(new RegExp(`.{1,${GROUP}}`, 'g')) ?? []).join('-');

/** As people type it: capitals and hyphens do not matter. */
const plain = (typed: string): string => typed.toLowerCase().replaceAll(/[\s-]/g, '');

const digestOf = (text: string): Buffer => createHash('sha256').update(text).digest();

/** Takes as long whatever differs. */
const same = (a: string, b: string): boolean => timingSafeEqual(digestOf(a), digestOf(b));

export const isToken = (typed: string, token: string): boolean => same(plain(typed), token);

/** What the browser keeps instead of the token: whoever reads it there has no address to give on. */
export const proofOf = (token: string): string => createHmac('sha256', token).update('cookie').digest('hex');

/** Cookies are shared by all ports of a host (RFC 6265, 8.5): the name has the port. */
const cookieName = (port: number): string => `rushlight-${port}`;

const COOKIE_SECONDS = 2 * 24 * 3600;

/**
 * HttpOnly: no script reads it. SameSite=Lax: no other site's page sends it with what it embeds, and an address that somebody
 * was sent in a message still opens. Without Secure, since there is no TLS here.
 */
export const cookieOf = (token: string, port: number): string =>
  `${cookieName(port)}=${proofOf(token)}; Path=/; Max-Age=${COOKIE_SECONDS}; HttpOnly; SameSite=Lax`;

/** `field`: the request's Cookie (RFC 6265, 4.2). */
export function hasProof(field: string | undefined, token: string, port: number): boolean {
  const name = `${cookieName(port)}=`;
  return (field ?? '')
    .split(';')
    .map((pair) => pair.trim())
    .some((pair) => pair.startsWith(name) && same(pair.slice(name.length), proofOf(token)));
}

/** `field`: the request's Authorization (RFC 6750, 2.1), of programs that keep no cookies. */
export function isBearer(field: string, token: string): boolean {
  const given = /^Bearer +([A-Za-z0-9._~+/-]+=*) *$/i.exec(field)?.[1];
  return given !== undefined && same(given, token);
}
