/** The server as requests find it: its headers, its token, its names, and that it takes nothing. Without a socket, by fastify's own injection. */
import { once } from 'node:events';
import { connect } from 'node:net';
import { afterAll, describe, expect, test } from 'vitest';
import { newServer, type Served } from '../../serve/server.ts';
import { grouped, newToken } from '../../serve/token.ts';

const token = newToken();
const opened: Served[] = [];
afterAll(async () => {
  for (const server of opened) await server.close();
});

function server(host: string, secret: string | null): Served['app'] {
  const made = newServer({ address: { host, port: 4650 }, token: secret });
  made.app.get('/', async () => 'shown');
  made.app.get('/broken', async () => {
    throw new Error('/volumes/raid/secret');
  });
  opened.push(made);
  return made.app;
}
const home = server('127.0.0.1', null);
const open = server('0.0.0.0', token);
const host = '127.0.0.1:4650';

test('a server that others reach has a token, or is not made', () => {
  expect(() => newServer({ address: { host: '0.0.0.0', port: 4650 }, token: null })).toThrow('needs a token');
  expect(() => newServer({ address: { host: '192.168.1.20', port: 1 }, token: null })).toThrow(RangeError);
});

/** OWASP, HTTP Headers Cheat Sheet, for what a page without third parties says; W3C CSP 3 for the policy. */
test.each([
  ['/', 200],
  ['/nothing', 404],
  ['/broken', 500],
  ['/%ff', 400],
])('%s: every answer is kept, guessed, framed and embedded by nobody', async (url, status) => {
  const { headers, statusCode, body } = await home.inject({ url, headers: { host } });
  expect(statusCode).toBe(status);
  expect(headers).toMatchObject({
    'cache-control': 'no-store',
    'x-content-type-options': 'nosniff',
    'referrer-policy': 'no-referrer',
    'x-frame-options': 'DENY',
    'cross-origin-resource-policy': 'same-origin',
  });
  const policy = String(headers['content-security-policy']);
  expect(policy).toContain("default-src 'none'");
  expect(policy).toContain("frame-ancestors 'none'");
  expect(policy).not.toMatch(/unsafe|\*|https?:/);
  // What is wrong is said in no detail.
  expect(body).not.toContain('secret');
  expect(headers['access-control-allow-origin']).toBeUndefined();
  expect(headers['x-powered-by']).toBeUndefined();
});

test.each(['POST', 'PUT', 'PATCH', 'DELETE', 'OPTIONS', 'HEAD'] as const)('%s is refused', async (method) => {
  const answer = await home.inject({ method, url: '/', headers: { host } });
  expect(answer.statusCode).toBe(405);
  expect(answer.headers.allow).toBe('GET');
  expect(answer.body).not.toContain('shown');
});

test('a request under another name is told nothing, before anything else is looked at', async () => {
  for (const app of [home, open])
    for (const strange of ['evil.example.invalid:4650', 'evil.example.invalid', '127.0.0.1:1']) {
      const answer = await app.inject({ url: `/?token=${token}`, headers: { host: strange } });
      expect(answer.statusCode).toBe(421);
      expect(answer.headers['set-cookie']).toBeUndefined();
      expect(answer.body).not.toContain('shown');
    }
});

test.each([
  [{ 'sec-fetch-site': 'cross-site', 'sec-fetch-mode': 'no-cors' }, 403],
  [{ 'sec-fetch-site': 'cross-site', 'sec-fetch-mode': 'cors' }, 403],
  [{ 'sec-fetch-site': 'cross-site', 'sec-fetch-mode': 'navigate' }, 200],
  [{ 'sec-fetch-site': 'same-origin', 'sec-fetch-mode': 'cors' }, 200],
  [{ 'sec-fetch-site': 'none', 'sec-fetch-mode': 'navigate' }, 200],
])('%j: %i', async (headers, status) => {
  expect((await home.inject({ url: '/', headers: { host, ...headers } })).statusCode).toBe(status);
});

describe('the token', () => {
  const ask = (url: string, cookie?: string) =>
    open.inject({ url, headers: { host, ...(cookie === undefined ? {} : { cookie }) } });

  test('opens the page once, becomes a cookie, and leaves the address', async () => {
    const answer = await ask(`/?token=${grouped(token)}`);
    expect(answer.statusCode).toBe(303);
    expect(answer.headers.location).toBe('/');
    const cookie = String(answer.headers['set-cookie']);
    expect(cookie).toMatch(/; HttpOnly(?:;|$)/);
    expect(cookie).toMatch(/; SameSite=(?:Lax|Strict)(?:;|$)/);
    expect(cookie).toMatch(/; Path=\//);
    // What the browser keeps is not what opens it elsewhere.
    expect(cookie).not.toContain(token);
    expect(JSON.stringify(answer.headers).replaceAll('-', '')).not.toContain(token);
    expect(answer.body).not.toContain(token);
    const [pair = ''] = cookie.split(';');
    expect((await ask('/', pair)).body).toBe('shown');
    expect((await ask('/', `other=1; ${pair}`)).statusCode).toBe(200);
    expect((await ask(`/?token=${pair.split('=')[1]}`)).statusCode).toBe(401);
  });

  test('as somebody types it', async () => {
    for (const typed of [token, grouped(token).toUpperCase(), token.replace(/(..)/g, '$1%20')])
      expect((await ask(`/?token=${typed}`)).statusCode, typed).toBe(303);
  });

  test.each([
    ['/', undefined],
    ['/?token=', undefined],
    [`/?token=${'2'.repeat(20)}`, undefined],
    [`/?token=${token}x`, undefined],
    [`/?token=${token.slice(1)}`, undefined],
    ['/?token[]=1&token=2', undefined],
    ['/', 'rushlight-4650='],
    ['/', `rushlight-4650=${token}`],
    ['/', `rushlight-4650=${'0'.repeat(64)}`],
    ['/', 'rushlight-4651=x'],
  ])('%s with cookie %s is refused, and says what to do', async (url, cookie) => {
    const answer = await ask(url, cookie);
    expect(answer.statusCode).toBe(401);
    expect(answer.body).toContain('whole address');
    expect(answer.headers['set-cookie']).toBeUndefined();
  });

  test('is drawn anew, of letters that look like no other', () => {
    const drawn = Array.from({ length: 500 }, newTokenOnce);
    expect(new Set(drawn).size).toBe(500);
    for (const one of drawn) expect(one).toMatch(/^[2-9a-hjkmnp-z]{20}$/);
    // Each letter comes: 10 000 draws of 31 letters miss one with a chance of e^-322.
    expect(new Set(drawn.join('')).size).toBe(31);
  });
});
const newTokenOnce = (): string => newToken();

test('a request that is never whole is cut off, and others are served meanwhile', async () => {
  const made = newServer({ address: { host: '127.0.0.1', port: 0 }, token: null });
  made.app.get('/', async () => 'shown');
  made.app.server.headersTimeout = 200;
  made.app.server.requestTimeout = 200;
  opened.push(made);
  const [address = ''] = await made.listen();
  const slow = connect({ host: '127.0.0.1', port: Number(new URL(address).port) });
  await once(slow, 'connect');
  slow.write('GET / HTTP/1.1\r\nHost: ');
  expect(await (await fetch(address)).text()).toBe('shown');
  slow.destroy();
  const asked = await fetch(address, { method: 'POST', body: 'x'.repeat(1_000_000) }).catch(() => null);
  expect(asked === null ? 405 : asked.status).toBe(405);
});
