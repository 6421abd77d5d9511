// A set-up at the box: its events, the state that they lead to, and where they are kept.
// The events are the lines of the log of `dbox setup`, so that the one goes on from the other.
(() => {
  'use strict';
  const { kind, version } = dbox.shell.data;

  // A pass before anything is read; twin: dbox.fieldwork.setup._first_pass
  const firstPass = (site, angles, previous) => ({
    number: previous ? previous.number + 1 : 1,
    angles,
    readings: site.outlets.map(() => []),
    settled: site.outlets.map(() => false),
    method: null,
    stillAt: '',
    doubtful: null, // { outlet, heights, all } while a reading waits to be confirmed
    correcting: null,
    skipped: [],
    left: new Map(), // outlet to angle, where a hole was left elsewhere than told
    turned: null,
    stuck: previous ? previous.stuck : [], // outlets whose inserts turned out not to turn
    previous: previous || null,
  });

  const withAt = (list, place, value) => list.map((each, i) => (i === place ? value : each));

  // twin: dbox.fieldwork.setup.begin
  const begin = (site) => ({
    site,
    passes: [firstPass(site, site.outlets.map((each) => each.clock), null)],
    notKnown: [],
    told: {},
    closed: false,
  });

  const now = (state) => state.passes[state.passes.length - 1];

  // twin: dbox.fieldwork.setup.Pass.complete
  const complete = (site, pass) => pass.doubtful === null && pass.correcting === null &&
    site.outlets.every((each, i) => pass.settled[i] || each.capped);

  // Where the holes stand if nothing is turned but what was said; twin: Job.left_angles [rad]
  const leftAngles = (pass) =>
    pass.angles.map((angle, i) => (pass.left.has(i) ? pass.left.get(i) : angle));

  function taken(pass, outlet, heights, settled) {
    return {
      ...pass,
      readings: withAt(pass.readings, outlet, heights),
      settled: withAt(pass.settled, outlet, settled),
      skipped: pass.skipped.filter((i) => i !== outlet),
      doubtful: null,
      correcting: null,
    };
  }

  // The state once an event has happened; twin: dbox.fieldwork.setup.Job.after
  function after(state, entry) {
    const { site } = state;
    const pass = now(state);
    const placeOf = (label) => {
      const found = site.outlets.findIndex((each) => each.label === label);
      if (found < 0) throw new Error(`there is no outlet ${label}`);
      return found;
    };
    const place = () => placeOf(entry.outlet);
    const having = (changed, more) =>
      ({ ...state, ...more, passes: [...state.passes.slice(0, -1), changed] });
    const following = (done, angles) => ({
      ...state, passes: [...state.passes.slice(0, -1), done, firstPass(site, angles, done)],
    });
    if (state.closed) throw new Error('the job has ended; nothing can follow');
    const unread = ['told', 'clock', 'still', 'stuck', 'turned', 'closed'].includes(entry.event);
    if (pass.method === null && !unread) {
      throw new Error('nothing is read before the water is still');
    }
    if (['read', 'settled', 'correcting', 'skipped'].includes(entry.event)
      && site.outlets[place()].capped) {
      // it was put off, and capped since
      if (entry.event === 'skipped') return state;
      throw new Error(`outlet ${entry.outlet} is capped`);
    }
    const turnedTo = () => site.outlets.map((each) => entry.angles_rad[each.label]);
    switch (entry.event) {
      case 'told':
        return {
          ...state,
          told: { ...state.told, [entry.key]: entry.value },
          // all else that is told of a box stands in the site that the job came with
          site: entry.key === 'inlet' && (site.inlet === null || site.inlet === entry.was)
            ? { ...site, inlet: entry.value } : site,
        };
      case 'clock': {
        const at = place();
        const notKnown = entry.angle_rad === null ? [...state.notKnown, at] : state.notKnown;
        return having({ ...pass, angles: withAt(pass.angles, at, entry.angle_rad) }, { notKnown });
      }
      case 'still': {
        if (!complete(site, pass)) {
          return having({ ...pass, method: entry.method, stillAt: entry.at });
        }
        const done = pass.left.size ? { ...pass, turned: leftAngles(pass) } : pass;
        return after(following(done, leftAngles(pass)), entry);
      }
      case 'left':
        return having({ ...pass, left: new Map([...pass.left, [place(), entry.angle_rad]]) });
      case 'stuck':
        return having({ ...pass, stuck: entry.outlets.map(placeOf) });
      case 'turned':
        if (!complete(site, pass)) throw new Error('not every open outlet is read');
        return following({ ...pass, turned: turnedTo(), doneAt: entry.at }, turnedTo());
      case 'closed':
        if (!complete(site, pass)) throw new Error('not every open outlet is read');
        return { ...state, closed: true };
      case 'read': {
        const at = place();
        const before = pass.correcting === at ? [] : pass.readings[at];
        const heights = [...before, ...entry.readings_m];
        const all = entry.readings_m.length > 1;
        if (!entry.doubtful) return having(taken(pass, at, heights, all));
        return having({ ...pass, doubtful: { outlet: at, heights, all } });
      }
      case 'confirmed': {
        if (!pass.doubtful) throw new Error('there is no reading to confirm');
        const { outlet, heights, all } = pass.doubtful;
        return having(entry.sure ? taken(pass, outlet, heights, all) : { ...pass, doubtful: null });
      }
      case 'settled':
        if (!pass.readings[place()].length) throw new Error('an outlet without a reading');
        return having({ ...pass, settled: withAt(pass.settled, place(), true), correcting: null });
      case 'correcting':
        return having({ ...pass, correcting: place() });
      case 'skipped': {
        const at = place();
        const skipped = [...pass.skipped.filter((i) => i !== at), at];
        return having({ ...taken(pass, at, [], false), skipped });
      }
      default:
        throw new Error(`${entry.event} has no meaning here`);
    }
  }

  // The entries that stand; twin: dbox.fieldwork.setup.replay
  function standing(entries) {
    const kept = [];
    for (const entry of entries) {
      if (entry.event === 'undone' && kept.length) kept.pop();
      else kept.push(entry);
    }
    return kept;
  }

  const replay = (job) => standing(job.entries).reduce(after, begin(job.site));

  // What is asked next; twin: dbox.fieldwork.setup.Job.question
  function question(state) {
    const { site } = state;
    const pass = now(state);
    if (state.closed) return { kind: 'ended' };
    if (pass.method === null) {
      const unknown = site.outlets.findIndex((each, i) => each.turns && !each.capped &&
        pass.angles[i] === null && ![...state.notKnown, ...pass.stuck].includes(i));
      return unknown < 0 ? { kind: 'still' } : { kind: 'clock', outlet: unknown };
    }
    if (complete(site, pass)) {
      const { conclusion } = answer(state).level;
      if (conclusion === 'adjust') return { kind: 'turn' };
      const moved = leftAngles(pass).some((angle, i) => angle !== pass.angles[i]);
      return { kind: conclusion === 'again' || moved ? 'still' : 'close' };
    }
    if (pass.doubtful) return { kind: 'confirm', outlet: pass.doubtful.outlet };
    if (pass.correcting !== null) return { kind: 'reading', outlet: pass.correcting };
    const unread = site.outlets.map((_, i) => i)
      .filter((i) => !site.outlets[i].capped && !pass.settled[i]);
    const first = [...unread.filter((i) => !pass.skipped.includes(i)), ...pass.skipped][0];
    return { kind: 'reading', outlet: first };
  }

  // The box as it stands in a pass. A reading that waits to be confirmed is not in it.
  const siteOf = (site, pass) => ({
    ...site,
    outlets: site.outlets.map((each, i) => ({
      ...each,
      clock: pass.angles[i],
      readings: pass.readings[i],
      turns: each.turns && !pass.stuck.includes(i),
    })),
  });

  const answers = new Map();
  const MOST_KEPT = 40;

  // What all passes up to this one tell, and what is to do; every open outlet is read.
  function told(site, pass) {
    const before = [];
    for (let each = pass; each; each = each.previous) before.push(each);
    const name = JSON.stringify([site, before.map((p) => [p.angles, p.readings, p.turned, p.stuck])]);
    if (!answers.has(name)) {
      const found = siteOf(site, pass);
      const known = dbox.read(found, knownBefore(site, pass), pass.readings);
      const level = dbox.level(found, known);
      if (answers.size >= MOST_KEPT) answers.delete(answers.keys().next().value);
      answers.set(name, { site: found, known, level, assess: level.before });
    }
    return answers.get(name);
  }

  // What the passes before this one tell of the box as it stands now.
  function knownBefore(site, pass) {
    if (!pass.previous) return dbox.begin(siteOf(site, pass));
    const angles = pass.angles.map((each) => (each === null ? NaN : each));
    return { ...knownAfter(site, pass.previous), angles };
  }

  // twin: dbox.fieldwork.setup.Pass.known_after
  function knownAfter(site, pass) {
    const { site: found, known } = told(site, pass);
    return dbox.turned(found, known, pass.turned || pass.angles);
  }

  // What is odd about the heights of an outlet; null: nothing. [m]
  function doubt(state, outlet, heights) {
    const pass = now(state);
    const readings = withAt(pass.readings, outlet, heights);
    const known = knownBefore(state.site, pass);
    return dbox.doubt(siteOf(state.site, pass), known, readings, outlet);
  }

  // The answer of the present pass; null while it is not complete.
  const answer = (state) =>
    (complete(state.site, now(state)) ? told(state.site, now(state)) : null);

  // Where the holes stand once turned as told, but for what was left elsewhere;
  // twin: dbox.fieldwork.setup.Job.told_angles [rad]
  function toldAngles(state) {
    const pass = now(state);
    const angles = leftAngles(pass);
    const { level } = answer(state);
    if (level.conclusion !== 'adjust') return angles;
    for (const i of level.order) {
      if (!pass.left.has(i)) angles[i] = level.outlets[i].angleAfter;
    }
    return angles;
  }

  // The time here, as ISO 8601 with the offset from UTC.
  function stamp() {
    const here = new Date();
    const ahead = -here.getTimezoneOffset();
    const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, '0');
    const local = new Date(here.getTime() + ahead * 60000).toISOString().slice(0, 19);
    return `${local}${ahead < 0 ? '-' : '+'}${two(ahead / 60)}:${two(ahead % 60)}`;
  }

  // Let something happen: it is kept before anything else is asked.
  function happen(job, event, fields, typed) {
    job.entries.push({ event, at: stamp(), ...fields, ...(typed === undefined ? {} : { typed }) });
    keep(job);
    return replay(job);
  }

  // Take back the last entry that stands, and a reading with the tap that settled it; which it was.
  function undo(job) {
    const entries = standing(job.entries);
    const last = entries.pop();
    happen(job, 'undone', {});
    while (last.event === 'settled' && entries.length) {
      const { event } = entries.pop();
      if (event !== 'read' && event !== 'confirmed') break;
      happen(job, 'undone', {});
      if (event === 'read') break;
    }
    return last;
  }

  // The turns of this pass that were made, by label: beside the events until all are.
  function ticked(job) {
    const { number } = now(replay(job));
    return job.ticks && job.ticks.pass === number ? [...job.ticks.done] : [];
  }

  function tick(job, done) {
    job.ticks = { pass: now(replay(job)).number, done };
    keep(job);
  }

  // A job of its own from a box and what was typed so far.
  function begun(start) {
    const key = Date.now().toString(36) + Math.floor(Math.random() * 1e6).toString(36);
    const job = { entries: [], pours: [], record: {}, ...JSON.parse(JSON.stringify(start)), key };
    keep(job);
    return job;
  }

  // A job that came as JSON; an Error where it is none that the screens could show.
  function checked(job) {
    const { site, entries, pours, record, name } = job;
    const whole = Array.isArray(entries) && Array.isArray(pours) && record && site
      && Array.isArray(site.flows) && Array.isArray(site.outlets) && site.outlets.length
      && typeof name === 'string'
      && pours.every((each) => each && typeof each.catches === 'object');
    if (!whole) throw new Error('a part of it is missing');
    question(replay(job));
    return job;
  }

  const PREFIX = 'dbox job ';
  const PROBE = 'dbox probe';
  const jobs = new Map();
  const unreadable = new Map(); // key to text, of jobs that are damaged

  // The storage of the browser, where it gives back what it is given; null where it does not.
  function findStorage() {
    try {
      const storage = globalThis.localStorage;
      storage.setItem(PROBE, 'kept');
      const works = storage.getItem(PROBE) === 'kept';
      storage.removeItem(PROBE);
      return works ? storage : null;
    } catch (refused) {
      return null;
    }
  }

  const storage = findStorage();
  // Why the last change is in this page alone: 'forbidden', 'full' or '' where it is kept.
  let fault = storage ? '' : 'forbidden';

  function load() {
    if (!storage) return;
    jobs.clear();
    unreadable.clear();
    draft = JSON.parse(storage.getItem(DRAFT));
    for (let i = 0; i < storage.length; i += 1) {
      const name = storage.key(i);
      const text = name.startsWith(PREFIX) ? storage.getItem(name) : null;
      try {
        if (text !== null) jobs.set(name.slice(PREFIX.length), checked(JSON.parse(text)));
      } catch (error) {
        unreadable.set(name.slice(PREFIX.length), text);
      }
    }
  }

  function keep(job) {
    job.changed = stamp();
    jobs.set(job.key, job);
    if (!storage) return;
    try {
      storage.setItem(PREFIX + job.key, JSON.stringify(job));
      fault = '';
    } catch (refused) {
      fault = 'full';
    }
  }

  // What is typed into a form before there is a job.
  const DRAFT = 'dbox draft';
  let draft = null;

  function keepDraft(values) {
    draft = values;
    if (!storage) return;
    try {
      if (values) storage.setItem(DRAFT, JSON.stringify(values));
      else storage.removeItem(DRAFT);
    } catch (refused) {
      fault = 'full';
    }
  }

  function drop(key) {
    jobs.delete(key);
    if (storage) storage.removeItem(PREFIX + key);
  }

  const fileText = (job) => `${JSON.stringify({ kind, version, ...job }, null, 1)}\n`;

  // A job from the text of such a file; an Error says what is wrong with it and what to do.
  function fromFile(text) {
    let job;
    try {
      job = JSON.parse(text);
    } catch (error) {
      throw new Error('This is not a whole file of this page: it is cut off or something else. ' +
        'Take the file once more from where it was saved.');
    }
    if (job.kind !== kind) throw new Error('This file was not saved by a page like this one.');
    if (job.version !== version) {
      throw new Error('This file comes from a newer page; open it there.');
    }
    delete job.kind;
    delete job.version;
    try {
      checked(job);
    } catch (error) {
      throw new Error(`What this file says does not go together (${error.message}). Take the ` +
        'file once more from where it was saved.');
    }
    return job;
  }

  load();
  dbox.job = {
    begin, after, standing, replay, now, complete, question, told, answer, leftAngles,
    toldAngles, doubt, happen, undo, ticked, tick, begun, load, keep, drop, keepDraft, fileText,
    fromFile, jobs, unreadable,
    fault: () => fault,
    draft: () => draft,
  };
})();
