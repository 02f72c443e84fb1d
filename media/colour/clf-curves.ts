/** Nodes of the Common LUT Format that are curves by formula: Log and Exponent. */
import type { XmlNode } from '../../files/manifest/xml.ts';
import {
  attributesOf,
  childrenBesides,
  COMMON_ATTRIBUTES,
  numberIn,
  oneOf,
  perChannel,
  type Place,
} from './clf-elements.ts';
import { ColourFileError } from './refuse.ts';
import { type Curve, exponentStyles, type LogParameters, type Step } from './steps.ts';

const PLAIN_LOG: LogParameters = {
  base: 2,
  logSideSlope: 1,
  logSideOffset: 0,
  linSideSlope: 1,
  linSideOffset: 0,
  linSideBreak: null,
  linearSlope: null,
};
const logStyles = [
  'log10',
  'antiLog10',
  'log2',
  'antiLog2',
  'linToLog',
  'logToLin',
  'cameraLinToLog',
  'cameraLogToLin',
] as const;

export function log({ node, where }: Place): Step[] {
  const style = oneOf(
    attributesOf(node, [...COMMON_ATTRIBUTES, 'style'], where).style,
    logStyles,
    `${where}: style`,
  );
  const bare = {
    log10: ['toLog', 10],
    antiLog10: ['toLin', 10],
    log2: ['toLog', 2],
    antiLog2: ['toLin', 2],
  } as const;
  const elements = childrenBesides(node, style in bare ? [] : ['LogParams'], where);
  if (style in bare) {
    const [direction, base] = bare[style as keyof typeof bare];
    const curve: Curve = { form: 'log', parameters: { ...PLAIN_LOG, base }, direction };
    return [{ kind: 'curves', curves: [curve, curve, curve] }];
  }
  const camera = style.startsWith('camera');
  const direction = style === 'linToLog' || style === 'cameraLinToLog' ? 'toLog' : 'toLin';
  const read = (element: XmlNode): Curve => {
    const attributes = attributesOf(
      element,
      [
        'base',
        'logSideSlope',
        'logSideOffset',
        'linSideSlope',
        'linSideOffset',
        'channel',
        ...(camera ? ['linSideBreak', 'linearSlope'] : []),
      ],
      where,
    );
    const value = (name: string, other: number): number =>
      attributes[name] === undefined ? other : numberIn(attributes[name], `${where}: ${name}`);
    if (camera && attributes.linSideBreak === undefined)
      throw new ColourFileError(`${where}: no linSideBreak`, 'linSideBreak with a camera style');
    const parameters: LogParameters = {
      base: value('base', 2),
      logSideSlope: value('logSideSlope', 1),
      logSideOffset: value('logSideOffset', 0),
      linSideSlope: value('linSideSlope', 1),
      linSideOffset: value('linSideOffset', 0),
      linSideBreak: camera ? value('linSideBreak', 0) : null,
      linearSlope: attributes.linearSlope === undefined ? null : value('linearSlope', 0),
    };
    if (
      parameters.base <= 0 ||
      parameters.base === 1 ||
      parameters.logSideSlope === 0 ||
      parameters.linSideSlope === 0 ||
      parameters.linearSlope === 0
    )
      throw new ColourFileError(
        `${where}: base ${parameters.base}, slopes ${parameters.logSideSlope}, ${parameters.linSideSlope}, ${parameters.linearSlope ?? 'by default'}`,
        'a base above 0 that is not 1, and slopes other than 0',
      );
    if (
      parameters.linSideBreak !== null &&
      parameters.linSideSlope * parameters.linSideBreak + parameters.linSideOffset <= 0
    )
      throw new ColourFileError(
        `${where}: linSideBreak ${parameters.linSideBreak}`,
        'a value that has a logarithm',
      );
    return { form: 'log', parameters, direction };
  };
  const curves = perChannel(elements, where, read, (channel) => {
    throw new ColourFileError(
      `${where}: no LogParams for ${channel}`,
      'one for all channels, or one for each',
    );
  });
  const bases = new Set(curves.map((curve) => (curve.form === 'log' ? curve.parameters.base : null)));
  if (bases.size > 1)
    throw new ColourFileError(`${where}: bases ${[...bases].join(', ')}`, 'the same base for every channel');
  return [{ kind: 'curves', curves }];
}

export function exponent({ node, where }: Place): Step[] {
  const style = oneOf(
    attributesOf(node, [...COMMON_ATTRIBUTES, 'style'], where).style,
    exponentStyles,
    `${where}: style`,
  );
  const basic = style.startsWith('basic');
  const read = (element: XmlNode): Curve => {
    const attributes = attributesOf(element, ['exponent', 'channel', ...(basic ? [] : ['offset'])], where);
    const power = numberIn(attributes.exponent ?? '', `${where}: exponent`);
    const offset = basic ? null : numberIn(attributes.offset ?? '', `${where}: offset`);
    if (
      offset === null
        ? !(power > 0)
        : !((power === 1 && offset === 0) || (power > 1 && power <= 10 && offset > 0 && offset <= 0.9))
    ) {
      throw new ColourFileError(
        `${where}: exponent ${power}${offset === null ? '' : `, offset ${offset}`}`,
        basic
          ? 'an exponent above 0'
          : 'an exponent above 1 to 10 with an offset above 0 to 0.9, or 1 with 0',
      );
    }
    return { form: 'exponent', style, exponent: power, offset };
  };
  const elements = childrenBesides(node, ['ExponentParams'], where);
  if (elements.length === 0)
    throw new ColourFileError(
      `${where}: no ExponentParams`,
      'one for all channels, or one for each that is changed',
    );
  // A channel that is not named has the nominal values, as OpenColorIO reads it.
  return [
    {
      kind: 'curves',
      curves: perChannel(elements, where, read, () => ({
        form: 'exponent',
        style,
        exponent: 1,
        offset: basic ? null : 0,
      })),
    },
  ];
}
