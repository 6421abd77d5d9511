// Words and pieces that the screens at the box share.
(() => {
  'use strict';
  const { make, go } = dbox.shell;

  const { percent } = dbox.words;

  const listed = (words) => (words.length < 2 ? words.join('')
    : `${words.slice(0, -1).join(', ')} and ${words[words.length - 1]}`);

  const outlets = (labels) => `${labels.length === 1 ? 'outlet' : 'outlets'} ${listed(labels)}`;

  // twin: dbox.report.text.chance_text
  const chance = (part) => {
    if (part < 0.01) return 'under 1 %';
    return part > 0.99 ? 'over 99 %' : percent(part);
  };

  const clock = (angle) => (angle === null ? '?' : dbox.clock.text(angle));

  const metric = (site) => site.units === 'mm';

  // A flow [m3/s] in the unit of the job; a length [m] in it, and both ways.
  const flow = (site, inflow) => dbox.words.flow(inflow, metric(site));
  const one = (site, metres, signed) =>
    dbox.length.text(metres, { metric: metric(site), mark: site.mark, signed });
  const both = (site, metres, signed) =>
    dbox.length.both(metres, { metric: metric(site), mark: site.mark, signed });

  // What a rule shows; twin: dbox.report.level_report._shown
  const SEEN = 4e-4; // [m]
  const shown = (site, height) => (Math.abs(height) < SEEN ? 'it level with the water'
    : `${both(site, height, true)} over the water`);

  const button = (words, heard, more) =>
    make('button', { type: 'button', ...more, on: { click: heard } }, words);

  const link = (words, href, more) => make('a', { class: 'button', href, ...more }, words);

  const at = (job, ...rest) => `#box/${[job.key, ...rest].join('/')}`;
  const visit = (job, ...rest) => go(at(job, ...rest).slice(1));

  const faultLine = () => make('p', { class: 'fault', role: 'alert' });

  // What is wrong with what keeps the jobs; nothing where nothing is.
  function notices(job) {
    const fault = dbox.job.fault();
    if (!fault) return null;
    return make('div', { class: 'notice', role: 'alert' },
      make('strong', {}, fault === 'full' ? 'The storage of this phone is full. '
        : 'This phone keeps nothing of this page. '),
      'What you type is lost when the page is closed or loaded again: save or copy the job after ',
      'each pass.',
      job && link('Save or copy now', at(job, 'save')));
  }

  let said = ''; // What the last tap did, told once on the next screen.

  const tell = (words) => { said = words; };

  function told() {
    const words = said;
    said = '';
    return make('p', { class: 'said', role: 'status' }, words);
  }

  // What stands on top of every screen of a job, as on paper: its name, and whether it is made up.
  const head = (job, back, ...more) => [
    make('nav', { class: 'bar', 'aria-label': 'Job' }, back,
      make('span', { class: 'name' }, job.name || 'Box without a name'), more),
    job.invented && make('p', { class: 'stamp' }, 'INVENTED DATA'),
    notices(job), told(),
  ];

  // A screen of a job behind its first one.
  const behind = (job, title, ...nodes) =>
    [head(job, link('‹ Back', at(job), { class: 'button plain' })), make('h1', {}, title), nodes];

  dbox.say = {
    flow, listed, outlets, percent, chance, clock, metric, one, both, shown, button, link, at,
    visit, faultLine, notices, tell, told, head, behind,
  };
})();
