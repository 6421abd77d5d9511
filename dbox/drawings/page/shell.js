// What all parts of a page share: its data, elements made safely, and the way between screens.
(() => {
  'use strict';
  const dbox = globalThis.dbox = globalThis.dbox || {};
  const main = document.getElementById('main');
  const doors = [];

  function filled(node, attributes, children) {
    for (const [name, value] of Object.entries(attributes || {})) {
      if (name === 'on') {
        for (const [kind, heard] of Object.entries(value)) node.addEventListener(kind, heard);
      } else if (value !== null && value !== undefined && value !== false) {
        node.setAttribute(name, value === true ? '' : value);
      }
    }
    // a string becomes a text node, whatever it holds
    node.append(...children.flat(Infinity).filter((each) => each !== null && each !== undefined &&
      each !== false && each !== ''));
    return node;
  }

  // An element: make('button', { class: 'key', on: { click: f } }, 'words', another)
  const make = (tag, attributes, ...children) =>
    filled(document.createElement(tag), attributes, children);

  // The same of a drawing: draw('svg', { viewBox: '0 0 100 100' }, draw('circle', { r: 5 }))
  const draw = (tag, attributes, ...children) =>
    filled(document.createElementNS('http://www.w3.org/2000/svg', tag), attributes, children);

  // A part's screen. Its address is #name or #name/rest, where rest is the part's own.
  // show(rest) returns the nodes of the screen. The page opens at the first part; title and words
  // lead to the others.
  function door(name, title, words, show) {
    doors.push({ name, title, words, show });
  }

  // Put nodes on the screen; the reader of a screen begins at its heading.
  function put(...nodes) {
    main.replaceChildren(...nodes.flat(Infinity).filter(Boolean));
    const heading = main.querySelector('h1');
    if (heading) {
      heading.setAttribute('tabindex', '-1');
      heading.focus({ preventScroll: true });
    }
    globalThis.scrollTo(0, 0);
  }

  // The ways from a part's first screen to the other parts.
  const others = (name) => doors.length > 1 && make('nav', { 'aria-label': 'More on this page' },
    doors.filter((each) => each.name !== name).map((each) =>
      make('a', { class: 'door', href: `#${each.name}` },
        make('strong', {}, each.title), make('span', {}, each.words))));

  function show() {
    const [, name, rest] = /^#?([a-z]*)\/?([^]*)$/.exec(globalThis.location.hash);
    const found = doors.find((each) => each.name === name) || doors[0];
    try {
      if (found) put(found.show(rest));
    } catch (error) {
      put(make('h1', {}, 'This screen cannot be shown'), make('p', { class: 'notice' },
        'Nothing that was typed is lost. Go back and save the job as a file: ', error.message),
      make('a', { class: 'button', href: '#' }, 'To the start'));
      throw error;
    }
  }

  // Go to another screen; the phone's own way back leads here again.
  function go(address) {
    if (globalThis.location.hash === `#${address}`) show();
    else globalThis.location.hash = address;
  }

  dbox.shell = {
    data: JSON.parse(document.getElementById('data').textContent),
    make, draw, door, others, put, go, show, main,
  };
  document.getElementById('asleep').remove();
  globalThis.addEventListener('hashchange', show);
  document.addEventListener('DOMContentLoaded', show);
})();
