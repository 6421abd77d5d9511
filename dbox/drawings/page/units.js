// Quantities as people read and write them; the first chapter of every page.
const INCH = 0.0254; // [m]
const LITRE = 1e-3; // [m3]
const GALLON = 231 * INCH ** 3; // [m3]
const MINUTE = 60; // [s]

const modulo = (value, by) => value - by * Math.floor(value / by);

// To the nearest whole number, halves to the even one, as Python rounds.
function roundEven(value) {
  const below = Math.floor(value);
  const rest = value - below;
  if (rest === 0.5) return below % 2 ? below + 1 : below;
  return rest < 0.5 ? below : below + 1;
}

// twin: dbox.units.clean
const PLAIN_SIGNS = [[/[−‐‑‒–﹣]/g, '-'], [/[”“″„]/g, '"'], [/[’‘′]/g, "'"], [/[⁄∕]/g, '/'],
  [/''/g, '"']];
function clean(text) {
  let plain = '';
  for (const sign of text) {
    const spelled = sign.normalize('NFKC');
    const fraction = [...spelled].length > 1 && spelled.includes('⁄');
    plain += fraction ? (/[0-9]$/.test(plain) ? ' ' : '') + spelled : sign;
  }
  return PLAIN_SIGNS.reduce((made, [from, to]) => made.replace(from, to), plain)
    .trim().toLowerCase();
}

const NUMBER = '[0-9]+(?:-|\\s+)[0-9]+\\s*/\\s*[0-9]+|[0-9]+\\s*/\\s*[0-9]+'
  + '|(?:[0-9]+\\.?[0-9]*|\\.[0-9]+)(?:e[+-]?[0-9]+)?';
const TERM = new RegExp(`(${NUMBER})\\s*([a-z]+|["'])?\\s*`, 'y');
const LENGTH_UNITS = new Map([
  [['in', 'inch', 'inches', '"'], INCH], [['ft', 'foot', 'feet', "'"], 12 * INCH],
  [['mm'], 1e-3], [['cm'], 1e-2], [['m'], 1],
].flatMap(([names, size]) => names.map((name) => [name, size])));
const LONGEST_LENGTH = 10000;

// twin: dbox.units.read_number
function readNumber(text) {
  const parts = /^(?:([0-9]+)[-\s]\s*)?([0-9]+)\s*\/\s*([0-9]+)$/.exec(text);
  if (!parts) return Number(text);
  const [whole, top, bottom] = parts.slice(1).map((part) => Number(part || 0));
  if (bottom === 0) throw new RangeError('a fraction cannot have 0 below the line');
  if (parts[1] !== undefined && top >= bottom) {
    throw new RangeError(
      'the fraction after a whole number must be less than 1, as in 1-3/16');
  }
  return whole + top / bottom;
}

// A length as people write it, in metres: `1-3/16 in`, `-3/32`, `4,5 mm`, `5 ft 3 in`. unit: that
// of a number without one. A RangeError says what to write instead.
// twins: dbox.units.said_number, length, read_sum and read_terms
function parseLength(said, unit = null) {
  // not 1,250: that may be thousands
  const comma =
    /(^|[^\d/.,])(?![1-9]\d{0,2},\d{3}(?![\d.,]))(\d+),(\d+)(?![\d.]|,\d|\s*\/)/g;
  const text = clean(String(said)).replace(comma, '$1$2.$3');
  const sign = text.startsWith('-') ? -1 : 1;
  const unsigned = text.replace(/^[+-]/, '').trim();
  if (unsigned === '0' || unsigned === '0.0') return 0;
  let [place, total, last, terms] = [0, 0, Infinity, 0];
  TERM.lastIndex = 0;
  for (let term = TERM.exec(unsigned); term; term = TERM.exec(unsigned)) {
    place = TERM.lastIndex;
    const name = term[2] || unit;
    const size = LENGTH_UNITS.get(name);
    if (!term[2] && (terms || place < unsigned.length)) break;
    if (!name) throw new RangeError('give its unit, as 1-3/16 in');
    if (!size) throw new RangeError(`the unit ${name} is not known here; write in, ft, mm or cm`);
    if (size >= last) {
      throw new RangeError('write the larger unit first, each once, as in 5 ft 3 in');
    }
    last = size;
    terms += 1;
    total += readNumber(term[1]) * size;
    if (place === unsigned.length) {
      if (total > LONGEST_LENGTH) throw new RangeError('this is above 10 km; check the unit');
      return total ? sign * total : 0;
    }
  }
  if (/[0-9]\s*\/\s*[0-9]/.test(unsigned)) {
    throw new RangeError('write a fraction as 13/16 or 1-3/16');
  }
  if (unsigned.includes(',')) {
    throw new RangeError('write one number, without a comma');
  }
  throw new RangeError('write one number and its unit, as 1-3/16 in');
}

const divisor = (a, b) => (b ? divisor(b, a % b) : a);

// twins: dbox.units.inches and millimetres; metric: in millimetres. Inches go to a 64th where the
// mark of the rule is as fine, else to a 32nd (dbox.lengths.Lengths.of).
function lengthText(metres, { metric = false, mark = null, signed = false } = {}) {
  if (metric) {
    const value = metres * 1000;
    // halves of a tenth go to the even one, as Python writes them
    const tie = Number.isInteger(value * 4) && value * 4 % 2 !== 0;
    const text = tie ? (roundEven(value * 10) / 10).toFixed(1) : Math.abs(value).toFixed(1);
    const amount = text.replace('-', '');
    const minus = value < 0 && Number(amount) !== 0;
    return `${minus ? '-' : signed && Number(amount) ? '+' : ''}${amount} mm`;
  }
  const parts = mark !== null && mark < (1.5 * INCH) / 64 ? 64 : 32;
  const count = roundEven((metres / INCH) * parts);
  const sign = count < 0 ? '-' : signed && count ? '+' : '';
  const whole = Math.floor(Math.abs(count) / parts);
  const rest = Math.abs(count) % parts;
  if (!rest) return `${sign}${whole} in`;
  const shared = divisor(rest, parts);
  const fraction = `${rest / shared}/${parts / shared}`;
  return `${sign}${whole ? `${whole}-` : ''}${fraction} in`;
}

// A clock position as people say it, as its angle from straight down; 7:30, 7.30, 7 o'clock.
// twins: dbox.units.said_clock and clock
function parseClock(said) {
  const parts = /^([0-9]{1,2})(?:[:.]([0-9]{2}))?\s*(?:o'?\s*clock)?$/.exec(clean(String(said)));
  const [hour, minute] = parts ? [Number(parts[1]), Number(parts[2] || 0)] : [0, 0];
  if (!parts || hour < 1 || hour > 12 || minute > 59) {
    throw new RangeError('write a clock position from 1:00 to 12:59, 6:00 straight down');
  }
  const past = (hour % 12) * 60 + minute - 360;
  return (Math.PI * (past > -360 ? past : 360)) / 360;
}

// twin: dbox.units.clock_text
function clockText(angle) {
  const minutes = modulo(roundEven((angle / (2 * Math.PI)) * 720) + 360, 720);
  return `${Math.floor(minutes / 60) || 12}:${String(minutes % 60).padStart(2, '0')}`;
}

// Both ways, one below the least mark in millimetres alone; twin: dbox.lengths.Lengths.both
function bothTexts(metres, { metric, mark, signed } = {}) {
  const inch = lengthText(metres, { mark, signed });
  const millimetres = lengthText(metres, { metric: true, signed });
  if (inch === '0 in' && millimetres !== '0.0 mm') return millimetres;
  return metric ? `${millimetres} (${inch})` : `${inch} (${millimetres})`;
}

// twin: dbox.units.three_digits
function threeDigits(value) {
  if (!value) return '0';
  const text = value.toFixed(Math.max(0, 2 - Math.floor(Math.log10(Math.abs(value)))));
  return text.includes('.') ? text.replace(/\.?0+$/, '') : text;
}

// twins: dbox.units.gpm, dbox.units.litres_per_min
const flowText = (inflow, metric) => (metric
  ? `${threeDigits((inflow * MINUTE) / LITRE)} L/min`
  : `${threeDigits((inflow * MINUTE) / GALLON)} gpm`);

const percent = (share) => `${Math.round(100 * share)} %`;

// twin: dbox.report.text.duration
function duration(seconds) {
  if (seconds < 10) return `${threeDigits(Math.round(seconds * 10) / 10)} s`;
  if (seconds < 60) return `${Math.round(seconds)} s`;
  if (seconds < 3600) {
    const [minutes, rest] = [Math.floor(Math.round(seconds) / 60), Math.round(seconds) % 60];
    return rest ? `${minutes} min ${rest} s` : `${minutes} min`;
  }
  return seconds < 172800 ? `${threeDigits(seconds / 3600)} h`
    : `${threeDigits(seconds / 86400)} days`;
}

globalThis.dbox = Object.assign(globalThis.dbox || {}, {
  clock: { parse: parseClock, text: clockText },
  length: { parse: parseLength, text: lengthText, both: bothTexts },
  words: { INCH, LITRE, GALLON, MINUTE, flow: flowText, percent, duration },
});
