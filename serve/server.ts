/**
 * A server that shows and takes nothing: GET alone, at a door (door.ts). What it shows is its user's: routes are put on `app`.
 * It writes no log, so that no token comes into one.
 */
import { hostname, networkInterfaces } from 'node:os';
import fastify, { type FastifyInstance, type FastifyReply } from 'fastify';
import { isLoopback, originsOf, type ServeAddress } from './address.ts';
import { answerAt } from './door.ts';
import { guarding, policyOf } from './headers.ts';
import { grouped } from './token.ts';

export interface ServerRequest {
  readonly address: ServeAddress;
  /** null: on a loopback address alone. */
  readonly token: string | null;
  /** Besides the machine's own: what it is called by others. Absent: nothing else. */
  readonly names?: readonly string[];
}

export interface Served {
  readonly app: FastifyInstance;
  /** Throws what node:net throws where it cannot. Gives the whole addresses to type, token and all. */
  listen(): Promise<string[]>;
  /** Lets every reader go. */
  close(): Promise<void>;
}

const MOST_CONNECTIONS = 128;
/** A request that is not whole by then. */
const REQUEST_MILLISECONDS = 10_000;
/** A connection that takes nothing for so long. Streams send something more often. */
const SILENT_MILLISECONDS = 60_000;

const PLAIN = 'text/plain; charset=utf-8';
const NO_REQUEST = 'That is no request for this page.\n';

const one = (field: string | readonly string[] | undefined): string | undefined =>
  typeof field === 'string' ? field : field?.[0];

export function newServer({ address, token, names = [] }: ServerRequest): Served {
  if (token === null && !isLoopback(address.host))
    throw new RangeError(`${address.host} is reached by others: it needs a token`);
  let bound = address;
  const app = fastify({
    logger: false,
    exposeHeadRoutes: false,
    bodyLimit: 1,
    requestTimeout: REQUEST_MILLISECONDS,
    connectionTimeout: SILENT_MILLISECONDS,
    forceCloseConnections: true,
    routerOptions: { maxParamLength: 1_000 },
    // An address that cannot be decoded comes to no hook.
    frameworkErrors: (_error, _request, reply) => {
      const plain: FastifyReply = reply as FastifyReply;
      plain.headers({ ...guarding, 'content-security-policy': policyOf({}) });
      void plain.code(400).type(PLAIN).send(NO_REQUEST);
    },
  });
  app.server.headersTimeout = REQUEST_MILLISECONDS;
  app.server.maxConnections = MOST_CONNECTIONS;
  app.addHook('onRequest', async (request, reply) => {
    reply.headers({ ...guarding, 'content-security-policy': policyOf({}) });
    const query = new URLSearchParams(request.url.split('?')[1]);
    const answer = answerAt(
      { bound, names: [hostname(), ...names], token },
      {
        method: request.method,
        host: request.headers.host,
        cookie: request.headers.cookie,
        authorization: request.headers.authorization,
        token: query.get('token') ?? undefined,
        site: one(request.headers['sec-fetch-site']),
        mode: one(request.headers['sec-fetch-mode']),
      },
    );
    if (answer.kind === 'in') return;
    if (answer.kind === 'sent-on') {
      await reply.code(303).headers({ location: '/', 'set-cookie': answer.cookie }).send();
      return;
    }
    if (answer.status === 401) reply.header('www-authenticate', 'Bearer');
    if (answer.status === 405) reply.header('allow', 'GET');
    await reply.code(answer.status).type(PLAIN).send(`${answer.why}\n`);
  });
  app.setNotFoundHandler(async (_request, reply) => {
    await reply.code(404).type(PLAIN).send('There is nothing here.\n');
  });
  // What goes wrong is told in no detail: details may name what lies on the disk.
  app.setErrorHandler(async (error: { readonly statusCode?: number }, _request, reply) => {
    const status = error.statusCode ?? 500;
    await reply
      .code(status)
      .type(PLAIN)
      .send(status < 500 ? NO_REQUEST : 'This could not be shown.\n');
  });
  return {
    app,
    listen: async () => {
      await app.listen({ host: address.host, port: address.port });
      const listening = app.server.address();
      if (listening !== null && typeof listening !== 'string') bound = { ...address, port: listening.port };
      const machine = Object.values(networkInterfaces()).flatMap((list) => list ?? []);
      return originsOf(bound, machine).map((origin) =>
        token === null ? `${origin}/` : `${origin}/?token=${grouped(token)}`,
      );
    },
    close: () => app.close(),
  };
}
