/** What every answer says of itself. Pure. */
import { createHash } from 'node:crypto';

/** Nothing is kept, guessed, framed, embedded by others, or told to others. */
export const guarding: Readonly<Record<string, string>> = {
  'cache-control': 'no-store',
  'x-content-type-options': 'nosniff',
  'referrer-policy': 'no-referrer',
  'cross-origin-resource-policy': 'same-origin',
  'cross-origin-opener-policy': 'same-origin',
  'x-frame-options': 'DENY',
  'permissions-policy': 'camera=(), microphone=(), geolocation=()',
};

const digest = (text: string): string => `'sha256-${createHash('sha256').update(text).digest('base64')}'`;

export interface PolicyRequest {
  /** The texts of inline styles and scripts: these alone are obeyed. */
  readonly styles?: readonly string[];
  readonly scripts?: readonly string[];
  /** `self`, `data:`. */
  readonly images?: readonly string[];
  /** Whether scripts may ask this server. */
  readonly connects?: boolean;
}

/** W3C, Content Security Policy Level 3. What is not asked for is forbidden. */
export function policyOf({
  styles = [],
  scripts = [],
  images = [],
  connects = false,
}: PolicyRequest): string {
  return [
    "default-src 'none'",
    ...(images.length > 0 ? [`img-src ${images.join(' ')}`] : []),
    ...(styles.length > 0 ? [`style-src ${styles.map(digest).join(' ')}`] : []),
    ...(scripts.length > 0 ? [`script-src ${scripts.map(digest).join(' ')}`] : []),
    ...(connects ? ["connect-src 'self'"] : []),
    "base-uri 'none'",
    "form-action 'none'",
    "frame-ancestors 'none'",
  ].join('; ');
}
