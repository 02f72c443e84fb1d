/** The encode's command line, read and changed. Pure; throws when a change finds no place, since a fault that does nothing would pass for one that was seen. */
import { basename, dirname, join } from 'node:path';

const STAGED = '.rushlight-part-';

/** Places of the arguments that name a file being made: outputs, not inputs. */
function stagedPlaces(args) {
  return args.flatMap((argument, index) =>
    argument.includes(STAGED) && args[index - 1] !== '-i' ? [index] : [],
  );
}

export function isEncode(args) {
  return stagedPlaces(args).length > 0 && args.includes('-filter_complex');
}

/** The path in a target: as it is written there, and as it is. In the tee muxer's list a bar ends it and a backslash escapes. */
function pathIn(target) {
  if (!target.startsWith('['))
    return { text: target.replace(/^file:/, ''), path: target.replace(/^file:/, '') };
  const text = /\]file:((?:\\.|[^|\\])*)/.exec(target)[1];
  return { text, path: text.replace(/\\(.)/g, '$1') };
}

/** One output's part of the command line: from its picture's `-map` to its target. */
function sectionOf(args, profile) {
  const end = stagedPlaces(args).find((place) => basename(dirname(pathIn(args[place]).path)) === profile);
  if (end === undefined) throw new Error(`no output of ${profile} on this command line`);
  const start = args.findLastIndex(
    (argument, index) => index < end && argument === '-map' && args[index + 1].startsWith('['),
  );
  if (start < 0) throw new Error(`the output ${args[end]} maps no picture of the graph`);
  return { start, end, pad: args[start + 1] };
}

export function stagedOf(args, profile) {
  return pathIn(args[sectionOf(args, profile).end]).path;
}

/** Whether every coded picture of this output stands for itself, so that they can be moved about in the file. */
export function codesEachPicture(args, profile) {
  const { start, end } = sectionOf(args, profile);
  return ['dnxhd', 'prores_ks'].includes(
    args[args.findIndex((argument, index) => index > start && index < end && argument === '-c:v') + 1],
  );
}

function placeOfInput(args) {
  const place = args.indexOf('-i') + 1;
  if (place === 0) throw new Error('no input');
  return place;
}

export function inputOf(args) {
  return args[placeOfInput(args)].replace(/^file:/, '');
}

export function withInput(args, path) {
  return args.with(placeOfInput(args), `file:${path}`);
}

const placeOfGraph = (args) => args.indexOf('-filter_complex') + 1;
const graphOf = (args) => args[placeOfGraph(args)];
const withGraph = (args, graph) => args.with(placeOfGraph(args), graph);

function replaced(text, from, to) {
  if (!text.includes(from)) throw new Error(`no ${from} in ${text}`);
  return text.replace(from, () => to);
}

/** Tags stand last on a picture's way to its encoder; a filter behind them may lose them. */
function tagsBefore(graph, pad) {
  return graph
    .slice(0, graph.indexOf(pad))
    .match(/setparams=[^,;[]*/g)
    ?.at(-1);
}

/** `filters` between the picture's end in the graph and its encoder. */
function beforeEncoder(args, profile, filters, retag = true) {
  const { pad } = sectionOf(args, profile);
  const graph = graphOf(args);
  const tags = retag ? tagsBefore(graph, pad) : undefined;
  const sound = `[sound_${pad.slice(1, -1)}]`;
  return withGraph(
    args,
    `${replaced(graph, pad, sound)};${sound}${[filters, ...(tags === undefined ? [] : [tags])].join(',')}${pad}`,
  );
}

/** `filters` straight behind the decoder: whatever the command makes of the clip comes after them. */
function behindDecoder(args, filters) {
  const graph = graphOf(args);
  const changed = graph.replace(
    /(^|;)\[0:(\w+)\]/g,
    (_all, before, stream) => `${before}[0:${stream}]${filters},`,
  );
  if (changed === graph) throw new Error('the graph takes no stream of the clip');
  return withGraph(args, changed);
}

/** `filters` before everything that the profile does to the picture; what was told of the source is right. */
function beforeScaler(args, profile, filters) {
  const number = stagedPlaces(args).indexOf(sectionOf(args, profile).end);
  const graph = graphOf(args);
  const changed = graph.replace(
    new RegExp(`(^|;)\\[in${number}\\]`),
    (_, before) => `${before}[in${number}]${filters},`,
  );
  if (changed === graph) throw new Error(`no chain of the output ${profile}`);
  return withGraph(args, changed);
}

/** Filters by which picture i of the stream becomes picture map[i]; the stream may become longer or shorter. `count`: its pictures. */
export function mapFilters(map, count) {
  const longest = Math.max(map.length, count);
  const whole = [...map, ...Array.from({ length: longest - map.length }, () => -1)];
  return [
    ...(map.length > count ? [`tpad=stop=${map.length - count}:stop_mode=clone`] : []),
    `shuffleframes=${whole.join('|')}`,
  ].join(',');
}

const LABEL = /\[([A-Za-z][\w-]*)\]/g;

/** Chains of the graph that a picture's end `[name]` comes from, once more and on the input of this number, without what they would tell. Every other end of theirs goes nowhere; this one is `[<name>_wrong]`. */
function secondWay(graph, name, input) {
  // A drop-frame label in the graph has a semicolon of its own, escaped.
  const chains = graph.split(/(?<!\\);/).map((text) => {
    const [, inputs] = /^((?:\[[^\]]*\])*)/.exec(text);
    const [, outputs] = /((?:\[[^\]]*\])*)$/.exec(text);
    const labels = (part) => [...part.matchAll(LABEL)].map((match) => match[1]);
    return { text, inputs: labels(inputs), outputs: labels(outputs) };
  });
  const wanted = new Set([name]);
  const taken = [];
  // From the end to the beginning: a chain stands behind those that feed it.
  for (const chain of chains.toReversed()) {
    if (!chain.outputs.some((label) => wanted.has(label))) continue;
    taken.unshift(chain);
    for (const label of chain.inputs) wanted.add(label);
  }
  const loose = taken.flatMap(({ outputs }) => outputs).filter((label) => !wanted.has(label));
  const copies = taken.map(({ text }) =>
    text
      .replace(/showinfo(?:=[^,;[]*)?,/g, '')
      .replace(/\[0:(\w+)\]/g, `[${input}:$1]`)
      .replace(LABEL, '[$1_wrong]'),
  );
  return [...copies, ...loose.map((label) => `[${label}_wrong]nullsink`)].join(';');
}

/** Two streams laid into each other have no rate of their own, and a muxer without a rate writes no timecode. */
function rateOf(graph) {
  const rate = /(?:^|,)fps=([\d/]+)/.exec(graph)?.[1];
  if (rate === undefined) throw new Error(`no rate in ${graph}`);
  return rate;
}

/** The output made of another clip: from first to last picture with its audio, or its picture number `at` alone. */
function withOtherClip(args, { profile, clip, at }) {
  const { pad, start, end } = sectionOf(args, profile);
  const graph = graphOf(args);
  const input = args.filter((argument) => argument === '-i').length;
  const name = pad.slice(1, -1);
  const tail =
    at === null
      ? `;[right]nullsink;[${name}_wrong]null${pad}`
      : `;[right]select='not(eq(n,${at}))'[others];[${name}_wrong]select='eq(n,${at})'[stranger];[others][stranger]interleave,settb=1/(${rateOf(graph)}),setpts=N,fps=fps=${rateOf(graph)}:eof_action=pass,${tagsBefore(graph, pad)}${pad}`;
  const changed = withGraph(
    args,
    `${replaced(graph, pad, '[right]')};${secondWay(graph, name, input)}${tail}`,
  ).map((argument, index) =>
    at === null && index > start + 1 && index < end && args[index - 1] === '-map'
      ? replaced(argument, '0:', `${input}:`)
      : argument,
  );
  // Behind all inputs, whose numbers the graph names.
  const behind = args.lastIndexOf('-i') + 2;
  return [...changed.slice(0, behind), '-i', `file:${clip}`, ...changed.slice(behind)];
}

/** A value of the output's own options. */
function withOption(args, profile, option, change) {
  const { start, end } = sectionOf(args, profile);
  const place = args.findIndex((argument, index) => index > start && index < end && argument === option);
  if (place < 0) throw new Error(`no ${option} for ${profile}`);
  return args.with(place + 1, change(args[place + 1]));
}

function withSwappedTracks(args, profile) {
  const { start, end } = sectionOf(args, profile);
  const places = args.flatMap((argument, index) =>
    index > start + 1 && index < end && argument === '-map' ? [index + 1] : [],
  );
  if (places.length < 2) throw new Error('fewer than two audio tracks');
  return args.with(places[0], args[places[1]]).with(places[1], args[places[0]]);
}

/** The command line with the fault in it. */
export function argumentsWith(args, operation) {
  const { profile } = operation;
  const put = (filters, retag) =>
    operation.stage === 'decoder'
      ? behindDecoder(args, filters)
      : operation.stage === 'scaler'
        ? beforeScaler(args, profile, filters)
        : beforeEncoder(args, profile, filters, retag);
  switch (operation.do) {
    case 'none':
      return args;
    case 'frames':
      return put(mapFilters(operation.map, operation.count));
    case 'filter':
      return put(operation.filters, operation.retag);
    case 'graph':
      return withGraph(
        args,
        operation.every === true
          ? graphOf(args).replaceAll(operation.from, () => operation.to)
          : replaced(graphOf(args), operation.from, operation.to),
      );
    case 'other-table': {
      const table = /lut1d=file=[^,]*:interp=nearest,lut3d=file=[^,]*:interp=tetrahedral/;
      if (!table.test(graphOf(args))) throw new Error('no table of a colour way in the graph');
      return withGraph(
        args,
        graphOf(args).replace(
          table,
          () =>
            `lut1d=file=${operation.spread}:interp=nearest,lut3d=file=${operation.space}:interp=tetrahedral`,
        ),
      );
    }
    case 'other-clip':
      return operation.stage === 'decoder' ? withInput(args, operation.clip) : withOtherClip(args, operation);
    case 'option':
      return withOption(args, profile, operation.option, () => operation.value);
    case 'audio':
      return withOption(args, profile, `-filter:a:${operation.track}`, (chain) =>
        replaced(chain, 'apad=', `${operation.filters},apad=`),
      );
    case 'swap-tracks':
      return withSwappedTracks(args, profile);
    default:
      throw new Error(`no such fault of a command: ${operation.do}`);
  }
}

/** The command with every target in another folder; `path`: where the profile's file then is. */
export function elsewhere(args, profile, folder) {
  const places = stagedPlaces(args);
  const place = (index) => join(folder, `${index}-${basename(pathIn(args[index]).path)}`);
  const list = args.map((argument, index) =>
    places.includes(index) ? argument.replace(pathIn(argument).text, () => place(index)) : argument,
  );
  return { list, path: place(sectionOf(args, profile).end) };
}
