/** Where a server listens, under which names it may be asked, and what people type to reach it. Pure. */
import { isIP } from 'node:net';

export interface ServeAddress {
  /** A name or a number, IPv6 without brackets. */
  readonly host: string;
  /** 0: any that is free. */
  readonly port: number;
}

const HIGHEST_PORT = 65_535;

/** `host:port`, IPv6 in brackets (RFC 3986, 3.2.2). null: it is none. */
export function parseServeAddress(text: string): ServeAddress | null {
  const parts = /^(?:\[([0-9A-Fa-f:.]+)\]|([A-Za-z0-9.-]+)):(\d{1,5})$/.exec(text);
  if (parts === null) return null;
  const [, bracketed, plain, digits] = parts;
  const port = Number(digits);
  if (port > HIGHEST_PORT) return null;
  if (bracketed !== undefined) return isIP(bracketed) === 6 ? { host: bracketed, port } : null;
  return { host: (plain as string).toLowerCase(), port };
}

/** RFC 1122, 3.2.1.3 (127/8); RFC 4291, 2.5.3 (::1); RFC 6761, 6.3 (localhost). */
export function isLoopback(host: string): boolean {
  return host === 'localhost' || host === '::1' || (isIP(host) === 4 && host.startsWith('127.'));
}

/** What listens on every address of the machine. */
const isEvery = (host: string): boolean => host === '0.0.0.0' || host === '::';

const inUrl = (host: string): string => (isIP(host) === 6 ? `[${host}]` : host);

export const originOf = ({ host, port }: ServeAddress): string =>
  port === 80 ? `http://${inUrl(host)}` : `http://${inUrl(host)}:${port}`;

/** An address of this machine, as the system lists it. */
export interface MachineAddress {
  readonly address: string;
  readonly internal: boolean;
}

/** Origins that people can type; those of the network first. Link-local IPv6 is left out: its zone has no place in an address (RFC 6874 was taken back). */
export function originsOf(bound: ServeAddress, machine: readonly MachineAddress[]): string[] {
  if (!isEvery(bound.host)) return [originOf(bound)];
  const wanted = machine.filter(
    ({ address, internal }) =>
      !internal && !address.toLowerCase().startsWith('fe80:') && (bound.host === '::' || isIP(address) === 4),
  );
  const hosts = wanted.map(({ address }) => address).sort((a, b) => isIP(a) - isIP(b));
  return (hosts.length > 0 ? hosts : ['127.0.0.1']).map((host) => originOf({ host, port: bound.port }));
}

/** Of a `Host` field (RFC 9110, 7.2): name in small letters and port, null where it is neither. */
function hostAndPort(field: string): ServeAddress | null {
  return parseServeAddress(/:\d{1,5}$/.test(field) && !field.endsWith(']') ? field : `${field}:80`);
}

/**
 * Whether a request is for this server. A page of somebody else whose name was made to lead here (DNS rebinding) sends its own
 * name in `Host`: a name that nobody gave this server is refused. Numbers cannot be rebound. `names`: what this machine is called.
 */
export function isAskedFor(
  field: string | undefined,
  bound: ServeAddress,
  names: readonly string[],
): boolean {
  const asked = field === undefined ? null : hostAndPort(field);
  if (asked === null || asked.port !== bound.port) return false;
  if (isLoopback(asked.host) || asked.host === bound.host) return true;
  if (isLoopback(bound.host)) return false;
  if (isIP(asked.host) !== 0) return true;
  return names.some(
    (name) => asked.host === name.toLowerCase() || asked.host === `${name.toLowerCase()}.local`,
  );
}
