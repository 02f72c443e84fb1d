/** Where a server may be asked: numbers and names that are its own, and no name that somebody else made to lead here. */
import { describe, expect, test } from 'vitest';
import { isAskedFor, isLoopback, originOf, originsOf, parseServeAddress } from '../../serve/address.ts';

test.each([
  ['127.0.0.1:4650', { host: '127.0.0.1', port: 4650 }],
  ['0.0.0.0:0', { host: '0.0.0.0', port: 0 }],
  ['[::1]:80', { host: '::1', port: 80 }],
  ['Foundry.local:4650', { host: 'foundry.local', port: 4650 }],
  ['127.0.0.1', null],
  ['4650', null],
  ['127.0.0.1:65536', null],
  ['::1:4650', null],
  ['[127.0.0.1]:4650', null],
  ['/volumes/raid/day-07', null],
  ['user@host:4650', null],
  ['host:4650/path', null],
])('%s', (text, address) => {
  expect(parseServeAddress(text)).toEqual(address);
});

test.each([
  ['127.0.0.1', true],
  ['127.8.0.1', true],
  ['::1', true],
  ['localhost', true],
  ['0.0.0.0', false],
  ['::', false],
  ['192.168.1.20', false],
  // A name that begins like a number is a name, which anybody may register.
  ['127.0.0.1.example.invalid', false],
])('%s is reached by this machine alone: %s', (host, alone) => {
  expect(isLoopback(host)).toBe(alone);
});

describe('Host', () => {
  const home = { host: '127.0.0.1', port: 4650 };
  const open = { host: '0.0.0.0', port: 4650 };
  test.each([
    ['127.0.0.1:4650', home, true],
    ['localhost:4650', home, true],
    ['LOCALHOST:4650', home, true],
    ['[::1]:4650', home, true],
    ['127.0.0.1:4651', home, false],
    ['127.0.0.1', home, false],
    ['192.168.1.20:4650', home, false],
    ['evil.example.invalid:4650', home, false],
    ['127.0.0.1.evil.example.invalid:4650', home, false],
    ['localhost.evil.example.invalid:4650', home, false],
    ['foundry:4650', home, false],
    [undefined, home, false],
    ['', home, false],
    ['192.168.1.20:4650', open, true],
    ['[fd00::20]:4650', open, true],
    ['foundry:4650', open, true],
    ['foundry.local:4650', open, true],
    ['evil.example.invalid:4650', open, false],
    ['foundry.local.evil.example.invalid:4650', open, false],
    ['127.0.0.1', { host: '127.0.0.1', port: 80 }, true],
  ] as const)('%s at %j: %s', (field, bound, isOurs) => {
    expect(isAskedFor(field, bound, ['Foundry'])).toBe(isOurs);
  });
});

test('what is typed: the numbers of networks, IPv4 first, and no address of one link', () => {
  const machine = [
    { address: '127.0.0.1', internal: true },
    { address: '::1', internal: true },
    { address: 'fd00::20', internal: false },
    { address: 'fe80::1', internal: false },
    { address: '192.168.1.20', internal: false },
  ];
  expect(originsOf({ host: '0.0.0.0', port: 4650 }, machine)).toEqual(['http://192.168.1.20:4650']);
  expect(originsOf({ host: '::', port: 4650 }, machine)).toEqual([
    'http://192.168.1.20:4650',
    'http://[fd00::20]:4650',
  ]);
  expect(originsOf({ host: '127.0.0.1', port: 4650 }, machine)).toEqual(['http://127.0.0.1:4650']);
  expect(originOf({ host: '::1', port: 80 })).toBe('http://[::1]');
  // A machine without a network still has itself.
  expect(originsOf({ host: '0.0.0.0', port: 4650 }, machine.slice(0, 2))).toEqual(['http://127.0.0.1:4650']);
});
