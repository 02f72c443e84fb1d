/** The live page on a server: the page, what changes, the still, and what of the day it links to. */
import type { FastifyInstance } from 'fastify';
import { layout } from '../../ledger/layout.ts';
import { guarding, policyOf } from '../../serve/headers.ts';
import { dayFileOf, openDayFile } from './day-files.ts';
import type { Feed } from './feed.ts';
import { livePageOf, livePolicy } from './page.ts';

const nothing = policyOf({});

export function putLivePage(app: FastifyInstance, feed: Feed): void {
  app.get('/', async (_request, reply) => {
    await reply
      .type('text/html; charset=utf-8')
      .header('content-security-policy', livePolicy)
      .send(livePageOf(await feed.view()));
  });
  app.get('/events', async (_request, reply) => {
    const headers = { ...guarding, 'content-security-policy': nothing };
    if (await feed.add(reply.raw, headers)) reply.hijack();
    else
      await reply
        .code(503)
        .header('retry-after', '60')
        .type('text/plain; charset=utf-8')
        .send('Too many pages are open.\n');
  });
  app.get<{ Querystring: { v?: unknown } }>('/still.jpg', async ({ query }, reply) => {
    const picture = typeof query.v === 'string' ? feed.still(query.v) : null;
    if (picture === null) {
      reply.callNotFound();
      return reply;
    }
    return reply.type('image/jpeg').send(picture);
  });
  app.get<{ Params: { '*': string } }>('/day/*', async ({ params }, reply) => {
    const place = feed.place();
    const dayFolder = place === null ? null : layout.dayFolder(place.delivery, place.day);
    const asked = dayFolder === null ? null : dayFileOf(dayFolder, params['*'].split('/'));
    const file = dayFolder === null || asked === null ? null : await openDayFile(dayFolder, asked);
    if (asked === null || file === null) {
      reply.callNotFound();
      return reply;
    }
    return reply
      .type(asked.type)
      .header('content-security-policy', asked.policy)
      .send(file.createReadStream());
  });
}
