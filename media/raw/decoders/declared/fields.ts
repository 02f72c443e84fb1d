/** Every field of a declared decoder with its meaning and what it may hold, read from the schema: the one source of docs/decoders.md. */
import { z } from 'zod';
import { declaredDecoderSchema } from '../../../declaration.ts';

export interface DecoderField {
  /** `gives.width`. */
  readonly path: string;
  readonly allowed: string;
  /** As it would be written; null: it must be stated. */
  readonly unstated: string | null;
  readonly meaning: string;
}

/** The part of JSON Schema that this schema needs. */
interface Node {
  readonly type?: string;
  readonly description?: string;
  readonly default?: unknown;
  readonly properties?: Readonly<Record<string, Node>>;
  readonly items?: Node;
  readonly enum?: readonly unknown[];
  readonly const?: unknown;
  readonly anyOf?: readonly Node[];
  readonly minimum?: number;
  readonly maximum?: number;
  readonly pattern?: string;
}

function allowedOf(node: Node): string {
  if (node.const !== undefined) return String(node.const);
  if (node.enum !== undefined) return node.enum.map(String).join(', ');
  if (node.anyOf !== undefined) return node.anyOf.map(allowedOf).join(', ');
  if (node.type === 'array')
    return `a list of ${node.items === undefined ? 'values' : allowedOf(node.items)}`;
  if (node.type === 'boolean') return 'true, false';
  if (node.type === 'null') return 'null';
  if (node.type === 'integer') return `a whole number from ${node.minimum} to ${node.maximum}`;
  if (node.pattern !== undefined) return 'small letters, digits and hyphens';
  return node.type === 'object' ? 'a group of fields' : 'text';
}

function* walk(node: Node, path: string): Generator<DecoderField> {
  if (path !== '')
    yield {
      path,
      allowed: allowedOf(node),
      unstated: node.default === undefined ? null : String(node.default),
      meaning: node.description ?? '',
    };
  const group =
    node.properties === undefined ? node.anyOf?.find(({ properties }) => properties !== undefined) : node;
  for (const [name, child] of Object.entries(group?.properties ?? {}))
    yield* walk(child, path === '' ? name : `${path}.${name}`);
}

export const decoderFields: readonly DecoderField[] = [
  ...walk(z.toJSONSchema(declaredDecoderSchema, { io: 'input' }) as Node, ''),
];
