/**
 * Services of docker/compose.yaml as an engine would start them: variables put in, `$$` made one `$`, by the rules of the
 * Compose Specification (chapter Interpolation) as far as the file uses them. Pure.
 */
import { parse } from 'yaml';

/** `${NAME}`, `${NAME:-otherwise}`, `${NAME:?why}`; `$$` is a dollar. Anything else with a dollar is refused. */
const VARIABLE = /\$(?:(\$)|\{([A-Z_]+)(?::([-?])([^}]*))?\}|(.?))/gs;

/** Throws RangeError when a variable lacks that the file insists on, or that has nothing in its place. */
export function interpolated(text, variables) {
  return text.replaceAll(VARIABLE, (whole, dollar, name, mark, words) => {
    if (dollar !== undefined) return '$';
    if (name === undefined) throw new RangeError(`${whole}: not a variable as this file writes them`);
    const value = variables[name] ?? '';
    if (value !== '') return value;
    if (mark === '-') return words;
    throw new RangeError(`${name}: ${mark === '?' ? words : 'not set'}`);
  });
}

function everywhere(value, variables) {
  if (typeof value === 'string') return interpolated(value, variables);
  if (Array.isArray(value)) return value.map((one) => everywhere(one, variables));
  if (value === null || typeof value !== 'object') return value;
  return Object.fromEntries(Object.entries(value).map(([name, one]) => [name, everywhere(one, variables)]));
}

/**
 * @param {string} text of compose.yaml
 * @param {Record<string, string>} variables
 * @returns {Record<string, {
 *   image: string, user?: string, command: string[], environment: Record<string, string>, volumes: string[],
 *   healthcheck?: { test: string[] }, restart: string, init?: boolean }>}
 */
export function servicesOf(text, variables) {
  return everywhere(parse(text, { merge: true }).services, variables);
}
