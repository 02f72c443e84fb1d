/** The frame of a page: one file that needs no other and runs nothing. Pure. */
import { createHash } from 'node:crypto';
import { Markup, markup, type Piece } from './markup.ts';
import { OUR_MARK } from '../write-own.ts';
import { style } from './style.ts';

/**
 * Nothing is fetched, nothing runs, nothing is sent: pictures lie in the page, and the one style sheet is named by its digest
 * (W3C, Content Security Policy Level 3).
 */
const policy = [
  "default-src 'none'",
  'img-src data:',
  `style-src 'sha256-${createHash('sha256').update(style).digest('base64')}'`,
  "base-uri 'none'",
  "form-action 'none'",
].join('; ');

export interface PageRequest {
  readonly title: string;
  /** Where the keyboard's first stop leads to: the id of the main part. */
  readonly skipTo: { readonly id: string; readonly words: string };
  readonly body: Piece;
}

export function pageOf({ title, skipTo, body }: PageRequest): string {
  return markup`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${new Markup(policy)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="generator" content="${OUR_MARK}">
<meta name="referrer" content="no-referrer">
<title>${title}</title>
<style>${new Markup(style)}</style>
</head>
<body>
<a class="skip" href="#${skipTo.id}">${skipTo.words}</a>
${body}
</body>
</html>
`.text;
}

/** Our own texts: what stands in backticks is a command or a name. */
export function prose(text: string): Markup {
  return markup`${text.split('`').map((part, index) => (index % 2 === 0 ? part : markup`<code>${part}</code>`))}`;
}
