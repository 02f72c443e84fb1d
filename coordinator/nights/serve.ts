/** Health, readiness and metrics of a standing coordinator, on the server that shows and takes nothing. */
import { isLoopback, originOf } from '../../serve/address.ts';
import { newServer } from '../../serve/server.ts';
import { FindingError, finding } from '../../findings/finding.ts';
import { readSecret } from '../messages/secret.ts';
import type { NightsConfig } from './config.ts';
import { isDoing, type ShowStanding } from './stand.ts';
import type { MessageCounts, Tally } from './tally.ts';

export interface ServeRequest {
  readonly config: NightsConfig;
  readonly standings: readonly ShowStanding[];
  readonly tally: Pick<Tally, 'text' | 'messages'>;
  readonly messages: MessageCounts;
  /** Whether the shared Redis answers; null: there is none. */
  queueAnswers(): Promise<boolean | null>;
}

export interface Serving {
  /** Without a token. */
  readonly address: string;
  close(): Promise<void>;
}

/** RFC 6750, 2.1: what a token may consist of. */
const isTokenText = (text: string): boolean => /^[A-Za-z0-9._~+/-]{16,200}=*$/.test(text);

/** Throws FindingError (exit 2) when the address cannot be had. */
export async function serveNights({
  config,
  standings,
  tally,
  messages,
  queueAnswers,
}: ServeRequest): Promise<Serving> {
  const { listen, listenNames, tokenFile } = config;
  const refused = (found: string): FindingError =>
    new FindingError([finding('coordinator-not-served', found, 'an address that can be served')], 2);
  const token =
    tokenFile === null
      ? null
      : await readSecret(tokenFile, '16 to 200 letters, digits and -._~+/', isTokenText);
  if (token === null && !isLoopback(listen.host))
    throw refused(`${originOf(listen)} is reached by others, and there is no listen_token_file`);
  const { app, listen: begin, close } = newServer({ address: listen, token, names: listenNames });
  app.get('/health', async (_request, reply) => {
    await reply.send({ status: 'alive' });
  });
  app.get('/ready', async (_request, reply) => {
    const queue = await queueAnswers();
    const shows = standings.map((one) => ({ show: one.show, role: one.role, ready: isDoing(one, config) }));
    const ready = queue !== false && shows.every((one) => one.ready);
    await reply.code(ready ? 200 : 503).send({ ready, queue, shows });
  });
  app.get('/metrics', async (_request, reply) => {
    tally.messages(messages);
    const { type, body } = await tally.text();
    await reply.type(type).send(body);
  });
  try {
    const [first = originOf(listen)] = await begin();
    return { address: first.replace(/\?.*$/, ''), close };
  } catch (error) {
    await close();
    throw refused(`${originOf(listen)}: ${(error as Error).message}`);
  }
}
