/** Whom a run tells what came of it: receivers, as people write them. Secrets stand in files of their own and never here. */
import { z } from 'zod';
import { isLoopback } from '../../serve/address.ts';

export const messageTypes = [
  'roll.ready',
  'roll.held',
  'roll.late',
  'day.ready',
  'day.held',
  'machine.lost',
] as const;
export type MessageType = (typeof messageTypes)[number];

/** For people, who want to know what asks for them, and how the day came out. */
export const mailTypes = ['roll.held', 'roll.late', 'day.ready', 'day.held', 'machine.lost'] as const;

const on = z.array(z.enum(messageTypes)).min(1).optional();
const secretFile = z.string().min(1).max(1_000);

/** Over a network that others can listen in, bodies name rolls and folders: TLS, but for this machine. */
function isGuardedUrl(text: string): boolean {
  const url = URL.canParse(text) ? new URL(text) : null;
  if (url === null || url.username !== '' || url.password !== '') return false;
  return (
    url.protocol === 'https:' || (url.protocol === 'http:' && isLoopback(url.hostname.replace(/[[\]]/g, '')))
  );
}

const ADDRESS = /^[^\s@<>",;]{1,64}@[A-Za-z0-9.-]{1,190}$/;
const address = z.string().regex(ADDRESS, { message: 'a plain address, as night@example.org' });

export const webhookSchema = z.strictObject({
  url: z
    .string()
    .max(2_000)
    .refine(isGuardedUrl, { message: 'https://…, or http:// of this machine, without user and password' })
    .describe('Where messages are posted: https, or http of this machine alone'),
  secret_file: secretFile.describe(
    'File that you alone can read, with the secret that messages are signed with: `whsec_` and 24 to 64 bytes in base64 (Standard Webhooks)',
  ),
  on: on.describe('Which messages; when it is not said: all'),
});

export const mailSchema = z.strictObject({
  server: z
    .string()
    .regex(/^[A-Za-z0-9.-]{1,250}:\d{1,5}$/, { message: 'a name and a port, as mail.example.org:587' })
    .describe(
      'Name and port of the mail server. Port 465 begins with TLS; others have to offer STARTTLS, but for a server on this machine',
    ),
  user: z.string().min(1).max(300).optional().describe('Who logs in there; when it is not said: nobody'),
  password_file: secretFile.optional().describe("File that you alone can read, with the user's password"),
  from: address.describe('Address of the sender'),
  to: z.array(address).min(1).max(50).describe('Addresses of the receivers'),
  on: on.describe(`Which messages; when it is not said: ${mailTypes.join(', ')}`),
});

export const receiversFields = {
  webhooks: z.array(webhookSchema).max(20).optional().describe('Programs that are told, by HTTP'),
  mail: z.array(mailSchema).max(20).optional().describe('People who are told, by e-mail'),
};
export const receiversSchema = z.strictObject(receiversFields);

/** The file of `run --messages`. */
export const messagesFileSchema = z.strictObject({
  version: z.literal(1).describe('Version of this file form'),
  ...receiversFields,
});

export type WebhookReceiver = z.infer<typeof webhookSchema>;
export type MailReceiver = z.infer<typeof mailSchema>;
export type Receivers = z.infer<typeof receiversSchema>;
