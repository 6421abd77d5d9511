// A new box: the questions of dbox.files.box_interview that a set-up at the box needs.
(() => {
  'use strict';
  const { make, data, show } = dbox.shell;
  const { say } = dbox;

  const blank = () => ({ units: 'in', name: '', outlets: '4', capped: '', kind: 'circle', size: '',
    height: '', turns: 'yes', offset: '', clock: 'all', inlet: null, mark: '1/16 in', tolerance: '',
    source: '' });

  const SIZES = {
    circle: ['Across the hole', '1-3/4 in', '44 mm'],
    notch: ['Angle between its sides, in degrees', '90', '90'],
    slot: ['Width of the slot', '1 in', '25 mm'],
    pipe: ['Inside of the pipe', '4 in', '100 mm'],
  };

  function boxForm() {
    const draft = dbox.job.draft() || blank();
    const fault = say.faultLine();
    const store = (name, value, again) => {
      draft[name] = value;
      dbox.job.keepDraft(draft);
      if (again) show();
    };
    const field = (name, words, more, help) => dbox.field(draft, name, words,
      () => dbox.job.keepDraft(draft), { id: name, maxlength: 80, ...more }, help);
    const choice = (name, words, options, again) => make('fieldset', {},
      make('legend', {}, words),
      options.map(([value, told], k) => [
        make('input', { type: 'radio', name, id: `${name}-${k}`, checked: draft[name] === value,
          on: { change: () => store(name, value, again) } }),
        make('label', { for: `${name}-${k}` }, told)]));
    const metric = draft.units === 'mm';
    const example = (list) => list[metric ? 2 : 1];
    const marks = metric ? ['1 mm', '0.5 mm'] : ['1/16 in', '1/32 in', '1/64 in'];
    if (!marks.includes(draft.mark)) [draft.mark] = marks;
    return [
      make('nav', { class: 'bar', 'aria-label': 'Page' },
        say.link('‹ Jobs', '#box', { class: 'button plain' })),
      make('h1', {}, 'A new box'),
      say.notices(null),
      field('name', 'What is the job called?', {}, 'An address will do.'),
      choice('units', 'Your rule shows', [['in', 'inches'], ['mm', 'millimetres']], true),
      choice('mark', 'Its finest mark', marks.map((each) => [each, each])),
      field('outlets', 'Outlets: how many, or their names with commas', { maxlength: 300 },
        'Clockwise from the inlet, as seen from above; capped ones too.'),
      field('capped', 'Which are capped?', { maxlength: 300 }, 'Empty: none.'),
      choice('kind', 'What the water leaves through', [['circle', 'round hole'],
        ['notch', 'V-notch'], ['slot', 'slot'], ['pipe', 'bare pipe end']], true),
      field('size', SIZES[draft.kind][0], { placeholder: `like ${example(SIZES[draft.kind])}` }),
      draft.kind === 'slot' && field('height', 'Height of the slot', {}, 'Empty: open at the top.'),
      draft.kind === 'circle' && choice('turns', 'Can the inserts be turned?', [['yes', 'yes'],
        ['unknown', 'yes, offset not known'], ['fixed', 'no']], true),
      draft.kind === 'circle' && draft.turns === 'yes' && field('offset',
        'Hole centre from pipe centre', { placeholder: metric ? 'like 12 mm' : 'like 1/2 in' },
        'Half of what the lip rises as its insert goes from 6:00 to 12:00.'),
      draft.kind === 'circle' && draft.turns !== 'fixed' && choice('clock',
        'Where do the holes stand, seen from inside the box?',
        [['all', 'all straight down, at 6:00'], ['each', 'I will say each'],
          ['unknown', 'not known']]),
      choice('inlet', 'How does the inlet end in the box?', [['turned down', 'turned down'],
        ['tee', 'tee'], ['baffle', 'baffle'], ['straight', 'straight'], ['', 'not known']]),
      field('tolerance', 'How far may a line be off its share, in per cent of it?',
        { inputmode: 'decimal', maxlength: 10 },
        'From the permit, the code or the inspector. Empty: nothing is called within or outside.'),
      field('source', 'Who says so?'),
      fault,
      say.button('Begin this job', () => {
        try {
          const job = jobOf(draft);
          dbox.job.keepDraft(null);
          const made = dbox.job.begun(job);
          if (draft.clock === 'unknown' && draft.kind === 'circle' && draft.turns !== 'fixed') {
            made.site.outlets.filter((each) => !each.capped).forEach((each) =>
              dbox.job.happen(made, 'clock', { outlet: each.label, angle_rad: null }));
          }
          say.visit(made);
        } catch (error) {
          fault.textContent = error.message;
          fault.scrollIntoView({ block: 'center' });
        }
      }, { class: 'main-step wide', id: 'begin' }),
    ];
  }

  const splitNames = (text) => text.split(',').map((each) => each.trim()).filter(Boolean);

  function labelsOf(text) {
    if (/^\s*\d+\s*$/.test(text)) {
      const count = Number(text);
      if (count < 1 || count > 20) throw new Error(`${count} outlets: this page takes 1 to 20.`);
      return Array.from({ length: count }, (_, i) => String(i + 1));
    }
    const names = splitNames(text);
    const alike = new Set(names.map((each) => each.toLowerCase()));
    if (names.length < 2 || alike.size < names.length || names.length > 20) {
      throw new Error('Outlets: write how many there are, or a name of its own for each.');
    }
    const long = names.find((each) => Array.from(each).length > data.longestLabel);
    if (long) {
      throw new Error(`The name ${long} is too long: ${data.longestLabel} letters at most.`);
    }
    return names;
  }

  // A measure that was typed, held to its limits; what is wrong names the question. [m]
  function measure(words, text, unit, low, high) {
    if (!text.trim()) throw new Error(`${words}: this one is needed.`);
    let metres;
    try {
      metres = dbox.length.parse(text, unit);
    } catch (error) {
      throw new Error(`${words}: "${text}" is no length; ${error.message}.`);
    }
    if (metres < low || metres > high) {
      throw new Error(`${words}: "${text}" cannot be; check the unit.`);
    }
    return metres;
  }

  function openingOf(draft, unit) {
    const [words] = SIZES[draft.kind];
    if (draft.kind === 'notch') {
      const degrees = Number(draft.size.replace(/(deg.*|°)\s*$/i, ''));
      if (!draft.size.trim() || !(degrees >= 1 && degrees <= 179)) {
        throw new Error(`${words}: write it as 90.`);
      }
      return [{ kind: 'notch', angle: (degrees * Math.PI) / 180 }, `notch ${degrees} deg`];
    }
    const size = measure(words, draft.size, unit, 0.001, 1);
    const text = withUnit(draft.size, unit);
    if (draft.kind === 'circle') return [{ kind: 'circle', diameter: size }, `circle ${text}`];
    if (draft.kind === 'pipe') return [{ kind: 'pipe', diameter: size }, `pipe ${text}`];
    if (!draft.height.trim()) return [{ kind: 'slot', width: size, height: null }, `slot ${text}`];
    const height = measure('Height of the slot', draft.height, unit, 0.001, 1);
    return [{ kind: 'slot', width: size, height },
      `slot ${text} x ${withUnit(draft.height, unit)}`];
  }

  const withUnit = (text, unit) =>
    (/[a-z"']\s*$/i.test(text) ? text.trim() : `${text.trim()} ${unit}`);

  // The job of a draft: its box in SI for this page, and the answers for the questions of the
  // interview, so that the scenario is made of the same words.
  function jobOf(draft) {
    const unit = draft.units;
    const labels = labelsOf(draft.outlets);
    const capped = splitNames(draft.capped).map((name) => {
      const found = labels.find((each) => each.toLowerCase() === name.toLowerCase());
      if (!found) throw new Error(`Which are capped? There is no outlet ${name}.`);
      return found;
    });
    if (capped.length === labels.length) throw new Error('Leave one outlet open.');
    if (draft.inlet === null) {
      throw new Error('How does the inlet end in the box? Look, and tap one; "not known" will do.');
    }
    const [opening, hole] = openingOf(draft, unit);
    const turns = draft.kind === 'circle' && draft.turns !== 'fixed';
    const offset = turns && draft.turns === 'yes'
      ? measure('Hole centre from pipe centre', draft.offset, unit, 0.0005, 0.15) : null;
    const percent = draft.tolerance.replace('%', '').replace(',', '.').trim();
    if (percent && !(Number(percent) >= 1 && Number(percent) <= 100)) {
      throw new Error('How far off may a line be: a tolerance is 1 to 100 per cent.');
    }
    // what is left out here is left out there
    const answers = { units: unit, outlets: labels.join(', '), inlet: draft.inlet || 'unknown',
      point: 'lip', mark: draft.mark };
    const quoted = (text) => (text.trim() ? `"${text.trim()}"` : undefined);
    answers.title = quoted(draft.name);
    if (percent) {
      Object.assign(answers, { tolerance: `${percent} %`, source: quoted(draft.source) });
    }
    if (/^\s*\d+\s*$/.test(draft.outlets)) answers.outlets = String(labels.length);
    const own = (name, value) => {
      if (!capped.length) answers[name] = value;
      else labels.filter((each) => !capped.includes(each)).forEach((each) => {
        answers[`${name} ${each}`] = value;
      });
    };
    answers.alike = capped.length ? 'no' : 'yes';
    if (capped.length) answers.capped = capped.join(', ');
    own('hole', hole);
    if (draft.kind === 'circle') {
      own('offset', draft.turns === 'yes' ? withUnit(draft.offset, unit) : draft.turns);
    }
    if (turns) own('clock', draft.clock === 'all' ? '6:00' : 'skip');
    const clock = turns && draft.clock === 'all' ? 0 : null;
    return {
      name: draft.name.trim(),
      answers,
      box: null,
      site: {
        ...data.blank,
        title: draft.name.trim(),
        units: unit,
        mark: dbox.length.parse(draft.mark, unit),
        tolerance: percent ? Number(percent) / 100 : null,
        toleranceSource: (percent && draft.source.trim()) || null,
        inlet: draft.inlet || null,
        outlets: labels.map((label) => {
          const shut = capped.includes(label);
          return { ...data.blank.outlets[0], label, opening, turns: turns && !shut, capped: shut,
            offset: shut ? null : offset, clock: shut ? null : clock };
        }),
      },
    };
  }

  dbox.boxForm = boxForm;
  dbox.boxOf = jobOf;
})();
