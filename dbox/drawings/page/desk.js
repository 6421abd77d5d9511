// At the box: the jobs on this phone, and of one job the step that comes next, on a plan to tap.
(() => {
  'use strict';
  const { make, data, door, go, show } = dbox.shell;
  const { jobs, now, complete, question, replay, answer, happen, ticked } = dbox.job;
  const { say } = dbox;
  const { button, link, at, visit } = say;

  const labelOf = (state, i) => state.site.outlets[i].label;

  // The jobs of this phone.
  function list() {
    dbox.job.load();
    const last = (job) => job.changed + job.key;
    const known = [...jobs.values()].sort((a, b) => (last(a) < last(b) ? 1 : -1));
    return [
      say.notices(null),
      say.told(),
      make('h1', {}, 'At the box'),
      make('div', { class: 'stack' },
        data.job && button(`Begin: ${data.job.name || 'the box of this page'}`,
          () => visit(dbox.job.begun(data.job)), { class: 'main-step' }),
        link('A new box', '#box/new', { class: data.job ? 'button' : 'button main-step' }),
        link('Open a saved job', '#box/open')),
      make('h2', {}, known.length ? 'Jobs on this phone' : 'No job on this phone yet'),
      make('ul', { class: 'jobs' }, known.map((job) => make('li', {},
        make('a', { href: at(job), class: 'door' },
          make('strong', {}, job.name || 'Box without a name'),
          make('span', {}, standWords(job))),
        make('div', { class: 'row' },
          link('Rename', at(job, 'name'), { 'aria-label': `Rename ${job.name}` }),
          link('Delete', at(job, 'delete'), { 'aria-label': `Delete ${job.name}` }))))),
      [...dbox.job.unreadable].map(([key, text]) => {
        const raw = make('textarea', { id: `raw-${key}`, readonly: true, rows: 4 });
        raw.value = text;
        return make('div', { class: 'notice' }, make('label', { for: `raw-${key}` },
          'A job on this phone is damaged and cannot be opened. Copy what is left of it:'), raw);
      }),
      dbox.shell.others('box'),
      cautions(true),
    ];
  }

  const cautions = (open) => make('details', { class: 'cautions', open },
    make('summary', {}, 'Mind: gas, lids, trenches, germs, power'),
    make('ul', {}, data.cautions.map((each) => make('li', {}, each))));

  function standWords(job) {
    const state = replay(job);
    const pass = now(state);
    const when = job.changed.slice(0, 16).replace('T', ' ');
    if (state.closed) return `ended; ${when}`;
    const open = state.site.outlets.filter((each) => !each.capped).length;
    return `pass ${pass.number}, ${pass.settled.filter(Boolean).length} of ${open} read; ${when}`;
  }

  const rename = (job) => say.behind(job, 'What is the job called?',
    dbox.field(job, 'name', 'Name', () => dbox.job.keep(job), { maxlength: 80 },
      'An address will do.'),
    link('Done', '#box', { class: 'button main-step wide' }));

  const remove = (job) => say.behind(job, `Delete ${job.name || 'this box'}?`,
    make('p', {}, 'What was read is gone from this phone then, unless you saved its file.'),
    make('div', { class: 'choices' },
      link('No, keep it', '#box', { class: 'button main-step' }),
      button('Yes, delete it', () => {
        dbox.job.drop(job.key);
        say.tell(`Deleted: ${job.name || 'a box without a name'}`);
        go('box');
      })));

  let warmed = false;

  // Of one job: the step, then the plan, the water and the shares.
  function desk(job) {
    const state = replay(job);
    const found = answer(state);
    // the first answer comes at once where the engine has run before
    if (!found && !warmed) globalThis.setTimeout(() => dbox.warm(state.site), 300);
    warmed = true;
    return [
      say.head(job, link('‹ Jobs', '#box', { class: 'button plain' }),
        button('Undo', () => undo(job), { class: 'plain',
          disabled: !dbox.job.standing(job.entries).length })),
      step(job, state),
      mind(job, state),
      found && notes(found),
      make('div', { class: 'beside' },
        make('section', { 'aria-label': 'Outlets' },
          dbox.views.plan(state.site.outlets, (i) => mouth(job, state, i)),
          now(state).method !== null && make('p', { class: 'quiet' }, 'Tap an outlet to read it.')),
        make('section', { 'aria-label': 'Water and shares' }, water(job, state, found))),
      passes(job, state),
      make('nav', { class: 'foot', 'aria-label': 'More of this job' },
        link('Pour test', at(job, 'pour')), link('Record', at(job, 'record')),
        link('Save or send', at(job, 'save')), link('Cautions', at(job, 'cautions'))),
    ];
  }

  function undo(job) {
    const ticks = ticked(job);
    const entries = dbox.job.standing(job.entries);
    const last = entries[entries.length - 1];
    // a turn that was made is kept beside the events, and with one where it was left elsewhere
    const turned = last.event === 'closed' ? undefined : ticks.pop();
    if (turned === undefined || (last.event === 'left' && last.outlet === turned)) {
      const taken = dbox.job.undo(job);
      const of = taken.outlet === undefined ? '' : ` of outlet ${taken.outlet}`;
      say.tell(`Taken back: ${TAKEN_BACK[taken.event]}${of}`);
    } else {
      say.tell(`Taken back: that outlet ${turned} is turned`);
    }
    dbox.job.tick(job, ticks);
    show();
  }

  const TAKEN_BACK = {
    told: 'how the inlet ends', clock: 'the clock position', still: 'still water',
    read: 'the reading', confirmed: 'the yes or no', settled: 'the reading',
    skipped: 'that it was put off', correcting: 'the correction',
    left: 'where the hole was left', turned: 'that turning is done', closed: 'the end of the job',
  };

  // How an outlet stands on the plan, and where a tap on it leads.
  function mouth(job, state, i) {
    const outlet = state.site.outlets[i];
    const pass = now(state);
    const heights = pass.readings[i];
    const waits = question(state);
    const words = `Outlet ${outlet.label}`;
    if (outlet.capped) {
      return { href: null, mark: 'cap', state: 'capped', words: `${words}, capped` };
    }
    const href = at(job, 'read', i);
    const waited = waits.kind === 'turn' ? toTurn(job, state)[0] : waits.outlet;
    const next = waited === i ? ' next' : '';
    if (!heights.length) {
      return { href, mark: '', state: `open${next}`, words: `${words}, not read` };
    }
    const mean = heights.reduce((sum, each) => sum + each, 0) / heights.length;
    return { href, mark: short(state.site, mean), state: `read${next}`,
      words: `${words}, read ${say.both(state.site, mean, true)}` };
  }

  const short = (site, metres) => say.one(site, metres, true).replace(/ (in|mm)$/, '');

  // The card on top: what stands, what to do, one button.
  const card = (pass, title, words, ...rest) => make('section', { class: 'step' },
    make('p', { class: 'where' }, pass),
    make('h1', {}, title),
    [words].flat().filter(Boolean).map((each) => make('p', {}, each)),
    rest);

  const INLETS = [['turned down', 'Turned down'], ['tee', 'Tee'], ['baffle', 'Baffle'],
    ['straight', 'Straight'], [null, 'Not known']];
  const ENDED = INLETS.slice(0, 3);

  // How the inlet ends, a tap each; what it was before goes with it.
  const inletChoices = (job, was, ends) => make('div', { class: 'choices' },
    ends.map(([value, words]) => button(words, () => {
      happen(job, 'told', { key: 'inlet', value, was });
      visit(job);
    })));

  const inlet = (job) => say.behind(job, 'How does the inlet end now?', make('p', {}, ENDS),
    inletChoices(job, replay(job).site.inlet, ENDED));

  const ENDS = 'Turned down: an elbow. Tee: one leg down, one up. Baffle: a plate before the end.';

  function step(job, state) {
    const { site } = state;
    const pass = now(state);
    const asked = question(state);
    const number = pass.number + (asked.kind === 'still' && complete(site, pass) ? 1 : 0);
    const where = `Pass ${number}`;
    const act = (words, event, fields, more) => button(words, () => {
      happen(job, event, fields);
      show();
    }, more);
    const still = (words) => act(words || 'The water lies still', 'still',
      { method: 'ruler from still water' }, { class: 'main-step wide', id: 'still' });
    if (inletFirst(job, state)) {
      if (asksInlet(job, state)) {
        return card(where, 'How does the inlet end in the box?',
          `Straight: the bare end of the pipe. ${ENDS}`, inletChoices(job, null, INLETS));
      }
      return card('Inlet first', site.inlet === null ? 'See how the inlet ends'
        : 'Turn the inlet down, or fit a tee',
      ['A straight inlet throws a jet at the outlets across, and no turn of an insert cures that. '
        + 'This page goes by the lips alone.', site.inlet === null ? 'If it is straight, turn it '
        + 'down or fit a tee before you level. Then tap how it ends.'
        : 'Done? Tap how it ends now.'],
      inletChoices(job, site.inlet, ENDED),
      button('Go on by the lips alone', () => {
        job.inletSeen = true;
        dbox.job.keep(job);
        show();
      }, { class: 'main-step wide' }));
    }
    switch (asked.kind) {
      case 'clock':
        return card(where, `Where does the hole of outlet ${labelOf(state, asked.outlet)} stand?`,
          'As on a clock face seen from inside the box. 6:00 is straight down.',
          link('Set it on the clock', at(job, 'clock', asked.outlet),
            { class: 'button main-step wide' }));
      case 'still':
        if (number === 1) {
          return card(where, 'Fill the box', 'With clean water, until it just spills. Stop, and '
            + 'wait until it lies still: it then stands at the lowest open lip.', still());
        }
        if (complete(site, pass)) {
          const [title, why] = finding(state, answer(state));
          return card(`After pass ${pass.number}`, title, [why, 'Top up until it just spills, '
            + 'stop, and let the water go still. Then read every outlet once more.'],
          still(), ends(job));
        }
        return card(where, 'Top up the box', 'Until it just spills. Stop, and wait until it lies '
          + 'still. Read every outlet again: each turn moves the still water.', still());
      case 'reading': {
        const label = labelOf(state, asked.outlet);
        const open = site.outlets.filter((each) => !each.capped).length;
        const read = pass.settled.filter(Boolean).length;
        return card(`${where}: ${read} of ${open} read`, `Read outlet ${label}`,
          `From the water up to ${pointWords(site.outlets[asked.outlet])}: `
          + '+ above the water, − below it. Twice is better.',
          link(`Read outlet ${label}`, at(job, 'read', asked.outlet),
            { class: 'button main-step wide', id: 'next' }));
      }
      case 'confirm': {
        const { outlet, heights } = pass.doubtful;
        const doubt = dbox.job.doubt(state, outlet, heights);
        return card(where, `Outlet ${labelOf(state, outlet)}: is that right?`,
          doubt ? doubtWords(state, heights, doubt) : 'It looked odd when it was typed.',
          make('div', { class: 'choices' },
            button('No, read it again', () => {
              happen(job, 'confirmed', { sure: false });
              visit(job, 'read', outlet);
            }),
            button('Yes, as typed', () => {
              const after = happen(job, 'confirmed', { sure: true });
              if (!now(after).settled[outlet]) {
                happen(job, 'settled', { outlet: labelOf(state, outlet) });
              }
              show();
            })));
      }
      case 'turn':
        return turnCard(job, state);
      case 'close': {
        const [title, why] = finding(state, answer(state));
        const rebed = answer(state).level.conclusion === 're-bed';
        return card(`After pass ${pass.number}`, title, why,
          ends(job, rebed ? 'Bedded: read it again' : 'One more pass', !rebed));
      }
      default: {
        const { level } = answer(state);
        const [title, why] = level.conclusion === 'adjust' ? ['Ended before all was turned',
          `Left to turn: ${say.outlets(level.order.map((i) => labelOf(state, i)))}.`]
          : finding(state, answer(state));
        return card('Ended', title, why,
          link('Record for the inspector', at(job, 'record'), { class: 'button main-step wide' }));
      }
    }
  }

  // The inlet is asked for once; the form of a new box has asked it.
  const asksInlet = (job, { site, told }) => !job.answers && site.inlet === null
    && told.inlet === undefined;

  // Which point of a hole is read; half of a round hole is its centre.
  function pointWords({ point, opening }) {
    if (!point) return 'the lip, the lowest point of the hole';
    return opening.kind === 'circle' && point > 0.75 * opening.diameter ? 'the top of the hole'
      : 'the centre of the hole';
  }

  // What leads on where nothing is to be turned; again: how one more pass is called, if it may be.
  function ends(job, again, endsFirst) {
    const choices = [
      button('End the job', () => {
        happen(job, 'closed', {});
        visit(job, 'record');
      }, { class: again && endsFirst ? 'main-step' : '' }),
      again && button(again, () => {
        const state = replay(job);
        happen(job, 'turned', { angles_rad: angles(state, dbox.job.leftAngles(now(state))) });
        show();
      }, { class: endsFirst ? '' : 'main-step' }),
    ];
    return make('div', { class: 'choices' }, endsFirst ? choices : choices.reverse(),
      link('Pour test', at(job, 'pour')));
  }

  const angles = (state, list_) =>
    Object.fromEntries(state.site.outlets.map((each, i) => [each.label, list_[i]]));

  // twin: dbox.report.setup_report.doubt_text
  function doubtWords(state, heights, { why, amount, other }) {
    const { site } = state;
    const typed = heights.map((each) => say.both(site, each, true)).join(', ');
    const much = say.both(site, amount);
    const told = {
      apart: `its readings differ by ${much}, more than readings of one hole do`,
      'under water': `the lip would lie ${much} under water, which would still run out over it`,
      high: `it would stand ${much} over the water, higher than its hole`,
      reach: other === null || other === undefined
        ? `that is ${much} more than its insert can reach over still water`
        : `no turning could bring it and outlet ${labelOf(state, other)} together: ${much} is left`,
    };
    return `You typed ${typed}: ${told[why]}.`;
  }

  // The finding of a pass and why; twin: dbox.report.level_report.why_nothing
  function finding(state, { level, assess }) {
    const { site } = state;
    const outside = assess.flows.some((each) => each.verdict === 'outside');
    switch (level.conclusion) {
      case 'within':
        return ['Within tolerance', 'At every flow. Lock the inserts.'];
      case 'inlet':
        return ['The lips are within tolerance', 'At every flow. Now see to the inlet: turn it '
          + 'down or fit a tee, so that no jet sends more to one line.'];
      case 'again':
        return ['Nothing to turn yet', outside
          ? 'A line reads as outside, but not yet beyond doubt.'
          : 'These readings cannot tell which lips are off.'];
      case 'level':
        return ['Level', 'The lips stand as well as a hand sets them. Lock the inserts; pour and '
          + 'catch to show what each line gets.'];
      case 'hand':
        return ['Nothing to turn', 'What still differs is less than a hand can make good. Lock the '
          + 'inserts; pour and catch to show what each line gets.'];
      case 'ruler': {
        const finer = Math.min(...assess.flows.map((each) => each.finerRule || Infinity));
        return ['Nothing to turn', 'Your rule cannot tell these lips apart any better. '
          + `${level.next === 'finer rule' && Number.isFinite(finer)
            ? `Read with a rule that shows ${dbox.length.text(finer,
              { metric: say.metric(site), mark: finer })}.`
            : 'Pour a known flow and catch it at each outlet.'}`];
      }
      case 're-bed':
        return ['Re-bed the box', [rebedWords(level), liftWords(site, level.lift)]
          .filter(Boolean).join(' ')];
      default:
        return [`Turn ${level.order.length} of ${site.outlets.length} inserts`, ''];
    }
  }

  function rebedWords(level) {
    const missed = level.outlets.filter((each) => !each.reachable).map((each) => each.label);
    return `No height can be reached by all lips; ${say.outlets(missed)} cannot. Bed the box level `
      + 'and firm, then read it again.';
  }

  function liftWords(site, lift) {
    if (!lift) return '';
    const sides = [];
    if (Math.abs(lift.farEnd) > 0.0005) {
      sides.push(`${lift.farEnd > 0 ? 'the end opposite the inlet' : 'the inlet end'} by `
        + say.both(site, Math.abs(lift.farEnd)));
    }
    if (Math.abs(lift.rightSide) > 0.0005) {
      sides.push(`the ${lift.rightSide > 0 ? 'right' : 'left'} side by `
        + say.both(site, Math.abs(lift.rightSide)));
    }
    return sides.length ? `Lift ${say.listed(sides)}, as seen from the inlet.` : '';
  }

  // What a person should know of inserts and readings; the words are those of dbox.report.wording.
  const notes = ({ site, level }) => level.notes.filter(({ what }) => what in data.notes)
    .map(({ what, outlets, over, under }) => {
      const words = `${data.notes[what].replace('{}', () => say.both(site, over || under))}.`;
      const labels = outlets && say.outlets(outlets.map((i) => level.outlets[i].label));
      return make('p', { class: 'notice' }, labels && make('strong', {}, `${labels}: `),
        labels ? words : words[0].toUpperCase() + words.slice(1));
    });

  const jets = (site) => site.inlet === null || site.inlet === 'straight';

  // A jet is seen to before the box is filled, or passed by.
  const inletFirst = (job, { site, passes }) => jets(site) && !job.inletSeen
    && passes.length === 1 && passes[0].method === null;

  // What the whole job has to keep in mind.
  const mind = (job, state) => [
    jets(state.site) && !inletFirst(job, state) && make('div', { class: 'notice' },
      make('strong', {}, state.site.inlet === null ? 'How the inlet ends is not known. '
        : 'The inlet is straight. '), 'Shares here are by the lips alone, without its jet.',
      // not while inserts are turned: what is ticked off then is no event, and undone first
      !['turn', 'ended'].includes(question(state).kind)
        && link('Say how it ends now', at(job, 'inlet'), { class: 'button wide' })),
    job.starter && make('p', { class: 'notice' }, 'This box is a starter\'s: make sure that its ',
      'outlets, holes, clocks and sizes are yours.'),
  ];

  const toTurn = (job, state) => answer(state).level.order
    .filter((i) => !ticked(job).includes(labelOf(state, i)));

  function turnCard(job, state) {
    const { level } = answer(state);
    const pass = now(state);
    const done = ticked(job);
    const left = toTurn(job, state);
    const where = `Pass ${pass.number}: turn ${level.order.length} of ${state.site.outlets.length} `
      + `inserts, ${done.length} done`;
    if (!left.length) {
      return card(where, 'All are turned', 'Lock them. Then top up and read all outlets again.',
        button('Go on to the next pass', () => {
          happen(job, 'turned', { angles_rad: angles(state, dbox.job.toldAngles(state)) });
          delete job.ticks;
          dbox.job.keep(job);
          show();
        }, { class: 'main-step wide', id: 'turned' }));
    }
    const i = left[0];
    const it = level.outlets[i];
    const byRule = `until the rule shows ${say.shown(state.site, it.ruleShows)}`;
    const known = it.clockBefore !== null && it.clockAfter !== null;
    const way = it.turn > 0 ? 'clockwise' : 'counter-clockwise';
    const words = known
      ? [make('b', {}, `${it.clockBefore} to ${it.clockAfter}`),
        `, ${way} as seen from inside the box; or ${byRule}.`]
      : [`Turn it ${it.move > 0 ? 'up' : 'down'} ${byRule}.`];
    return card(where, `Turn outlet ${it.label}`, [make('span', {}, words),
      'Add no water in between.'],
    known && dbox.views.face(it.angleBefore, it.angleAfter,
      `From ${it.clockBefore} to ${it.clockAfter}, ${way}`),
    make('div', { class: 'choices' },
      button('Turned as told', () => {
        dbox.job.tick(job, [...done, it.label]);
        show();
      }, { class: 'main-step', id: 'as-told' }),
      link('Left elsewhere', at(job, 'left', i))),
    make('details', {}, make('summary', {}, 'Why, and what else'),
      make('p', {}, tradeWords(state.site, level)),
      button('Turn nothing: top up and read again', () => {
        happen(job, 'turned', { angles_rad: angles(state, dbox.job.leftAngles(pass)) });
        show();
      }),
      button('End the job as it stands', () => {
        happen(job, 'closed', {});
        visit(job, 'record');
      })));
  }

  // What the turns bring the worst line; twin: dbox.report.level_report._trade
  function tradeWords(site, { worst, before }) {
    const targets = before.target.filter((each) => each > 0);
    const same = Math.max(...targets) - Math.min(...targets) < 1e-9;
    const [now, then, best] = worst.map((each) => Math.round(100 * each * (same ? targets[0] : 1)));
    const weakest = site.flows.reduce((a, b) => (b.inflow < a.inflow ? b : a));
    return `At ${weakest.name} the worst line goes from ${now} to ${then} %`
      + `${same ? '' : ' of its target'}; turning every insert would make it ${best} %.`;
  }

  const STILL = 'still';

  function water(job, state, found) {
    const { site } = state;
    const pass = now(state);
    const flow = found && found.assess.flows.find((each) => each.name === job.flow);
    const lips = site.outlets.map((outlet, i) => {
      const heights = pass.readings[i];
      if (outlet.capped) return { label: outlet.label, capped: true, height: null };
      if (found) {
        return { label: outlet.label, height: found.known.height[i],
          error: Math.sqrt(found.known.covariance[i][i]) };
      }
      const mean = heights.reduce((sum, each) => sum + each, 0) / heights.length;
      return { label: outlet.label, height: heights.length ? mean - outlet.point : null, error: 0 };
    });
    const words = lips.map((each) => `outlet ${each.label}: ${each.capped ? 'capped'
      : each.height === null ? 'not read' : say.both(site, each.height, true)}`).join('; ');
    const over = flow ? flow.level : 0;
    const most = flow && Math.max(...flow.share);
    const parts = [
      make('h2', {}, flow ? `Water at ${flow.name}` : 'Still water and lips'),
      found && make('div', { class: 'tabs', role: 'group', 'aria-label': 'At which flow' },
        [STILL, ...found.assess.flows.map((each) => each.name)].map((name) => button(
          name === STILL ? 'Still' : name, () => {
            job.flow = name;
            dbox.job.keep(job);
            show();
          }, { 'aria-pressed': String(flow ? flow.name === name : name === STILL) }))),
      dbox.views.strip(lips, over, say.metric(site), `Lips over the still water. ${words}`,
        flow && flow.share.map((each) => each / most)),
    ];
    if (!flow) return parts;
    return [...parts,
      make('p', {}, `${say.flow(site, flow.inflow)} into the box. `,
        verdictWords(site, flow, found.assess.tolerance)),
      dbox.views.shares(site.outlets, flow, found.assess.target, found.assess.tolerance)];
  }

  const VERDICTS = { within: 'Within tolerance', outside: 'Outside tolerance',
    'cannot tell': 'Cannot tell yet' };

  function verdictWords(site, { verdict, withinProbability }, tolerance) {
    if (tolerance === null) {
      return site.targetOpen ? 'The lines differ in length and nobody said what each gets: nothing '
        + 'is called within or outside.' : 'No tolerance is named: nothing is called within or '
        + 'outside.';
    }
    const sure = verdict === 'cannot tell'
      ? ` The chance that every line is within is ${say.chance(withinProbability)}.` : '';
    return `${VERDICTS[verdict]}: a line may be ${say.percent(tolerance)} off its target.${sure}`;
  }

  // What was read before, pass after pass.
  function passes(job, state) {
    const earlier = state.passes.slice(0, -1);
    if (!earlier.length) return null;
    return make('details', {},
      make('summary', {}, `Earlier passes: ${earlier.length}. They still count.`),
      earlier.map((pass) => make('section', {},
        make('h2', {}, `Pass ${pass.number}`), dbox.record.passTable(state.site, pass))));
  }

  const SCREENS = { read: dbox.typing.read, clock: dbox.typing.clock, left: dbox.typing.left,
    inlet, pour: dbox.pourScreen, record: dbox.record.screen, save: dbox.files.save, name: rename,
    delete: remove };

  function screen(rest) {
    const [key, what, which] = rest.split('/');
    if (!key) return list();
    if (key === 'new') return dbox.boxForm();
    if (key === 'open') return dbox.files.open();
    const job = jobs.get(key);
    if (!job) {
      say.tell('That job is not on this phone.');
      return list();
    }
    if (what === 'cautions') return say.behind(job, 'Cautions', cautions(true));
    return what ? SCREENS[what](job, which === undefined ? which : Number(which)) : desk(job);
  }

  // another tab has changed something, or this one comes back from behind another page
  const anew = () => {
    dbox.job.load();
    show();
  };
  globalThis.addEventListener('storage', anew);
  globalThis.addEventListener('pageshow', (event) => event.persisted && anew());
  door('box', 'At the box', 'Read, turn, read again: a set-up, its pour test and its record.',
    screen);
})();
