// What the box to lean and the film share: scales, streams, the wall of a box, screens.
(() => {
  'use strict';
  const dbox = globalThis.dbox = globalThis.dbox || {};
  const { INCH } = dbox.words;
  const INLET_WIDTH = 1.5, HOLE_PART = 0.62;

  // Heights with their words, at least so many dots apart. twin: dbox.drawings.style.tick_step
  function ticks(low, high, perMetre, metric, apart) {
    const unit = metric ? 1e-3 : INCH;
    const steps = metric ? [1, 2, 5, 10, 20, 50, 100, 200, 500]
      : [1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8, 16];
    const found = steps.find((each) => each * unit * perMetre >= apart);
    const step = (found || steps[steps.length - 1]) * unit;
    const marks = [];
    for (let count = Math.ceil(low / step - 1e-9); count * step <= high + 1e-9; count += 1) {
      const at = count * step;
      const words = dbox.length.text(at, { metric, signed: true }).replace(/(\.0)? (in|mm)$/, '');
      marks.push({ at, words });
    }
    return marks;
  }

  // How a share stands to its target, with a sign and a name.
  // twins: dbox.drawings.style.OVER, UNDER, WITHIN
  function standing(share, target, allowed) {
    const off = target > 0 ? share / target - 1 : 0;
    return off > allowed ? { name: 'over', sign: '▲' }
      : off < -allowed ? { name: 'under', sign: '▼' } : { name: 'fair', sign: '=' };
  }

  function textWidth(text, size) {
    const context = document.createElement('canvas').getContext('2d');
    context.font = `bold ${size}px system-ui, sans-serif`;
    return context.measureText(text).width;
  }

  // Labels that fit a width, or their numbers where one does not.
  function shortLabels(labels, room, size) {
    const fits = labels.every((label) => textWidth(label, size) <= room);
    return fits ? labels : labels.map((_, i) => `${i + 1}`);
  }

  const set = (node, attributes) => {
    for (const [name, value] of Object.entries(attributes)) {
      node.setAttribute(name, typeof value === 'number' ? Math.round(value * 100) / 100 : value);
    }
    return node;
  };

  // Water that falls, as wide as its flow; what drifts in it moves where motion is wanted.
  function stream(draw, name) {
    const body = draw('rect', { class: 'w-stream' });
    const places = [-0.36, 0.18, -0.1, 0.36, 0];
    const drift = places.map((_, i) => draw('line', { class: `w-drift w-drift-${i}` }));
    const node = draw('g', { 'data-stream': name }, body, drift);
    return {
      node,
      move(x, top, bottom, width) {
        const shown = width > 0 && bottom > top;
        node.setAttribute('visibility', shown ? 'visible' : 'hidden');
        if (!shown) return;
        const wide = Math.max(width, 0.8);
        set(body, { x: x - wide / 2, y: top, width: wide, height: bottom - top });
        drift.forEach((line, i) => {
          const at = x + places[i] * wide, seen = wide > 4 && (wide > 14 || i > 2);
          set(line, { x1: at, x2: at, y1: top, y2: bottom, opacity: seen ? 1 : 0,
            'stroke-width': Math.min(wide * 0.12, 2.2) });
        });
      },
    };
  }

  // The wall of a box with its outlets side by side, the inlet in a column of its own before them.
  // at: { left, right, top, foot, size } in dots; { low, high, zero, rim } [m]; metric; ticks.
  // outline(corners of each outlet [m]) and move({ level, lips, inlet, streams, landing }) follow.
  function section(draw, svg, outlets, at) {
    const { left, right, top, foot, size } = at;
    const column = (right - left) / (outlets.length + INLET_WIDTH);
    const middle = (i) => left + (INLET_WIDTH + 0.5 + i) * column;
    const inletAt = left + 0.5 * INLET_WIDTH * column;
    const perMetre = (foot - top) / (at.high - at.low);
    const y = (z) => foot - (Math.min(Math.max(z, at.low), at.high) - at.low) * perMetre;
    const water = draw('rect', { class: 'w-pool', x: left, width: right - left });
    svg.append(water);
    const rimAt = at.rim !== null && at.rim < at.high ? y(at.rim) : null;
    if (rimAt !== null) {
      svg.append(draw('line', { class: 'w-rim', x1: left, x2: right, y1: rimAt, y2: rimAt }));
    }
    if (at.ticks) {
      svg.append(draw('text', { class: 'w-tick', x: left - 5, y: top - 0.8 * size },
        at.metric ? 'mm' : 'in'));
      const marks = ticks(at.low - at.zero, at.high - at.zero, perMetre, at.metric, 1.7 * size);
      for (const tick of marks) {
        const up = y(tick.at + at.zero);
        svg.append(draw('line', { class: 'w-scale', x1: left - 4, x2: left, y1: up, y2: up }),
          draw('text', { class: 'w-tick', x: left - 6, y: up + 0.35 * size }, tick.words));
      }
    }
    const inlet = stream(draw, 'inlet');
    const streams = outlets.map((outlet) => stream(draw, outlet.label));
    const holes = outlets.map((outlet, i) => outlet.capped
      ? draw('rect', { class: 'w-cap', x: middle(i) - 0.3 * column, y: top + 0.3 * (foot - top),
        width: 0.6 * column, height: 0.4 * (foot - top) })
      : draw('g', {}, draw('polygon', { class: 'w-hole' }),
        draw('line', { class: 'w-lip', x1: -0.4 * column, x2: 0.4 * column, y1: 0, y2: 0 })));
    const clip = `wall-${Math.round(left)}-${Math.round(top)}`;
    const surface = draw('line', { class: 'w-surface', x1: left, x2: right });
    svg.append(
      draw('path', { class: 'w-wall', d: `M${left} ${top}V${foot}H${right}V${top}` }),
      inlet.node,
      draw('clipPath', { id: clip }, draw('rect', { x: left, y: top, width: right - left,
        height: foot - top })),
      draw('g', { 'clip-path': `url(#${clip})` }, holes),
      ...streams.map((each) => each.node), surface);

    // all holes to one scale, as wide as their columns let the widest be
    function outline(corners) {
      const widest = Math.max(...corners.map((each) => 2 * Math.max(...each.map(([x]) => x))));
      const across = Math.min(HOLE_PART * column / widest, perMetre);
      holes.forEach((hole, i) => {
        if (!outlets[i].capped) {
          hole.firstChild.setAttribute('points', corners[i].map(([x, up]) =>
            `${(x * across).toFixed(1)},${(-up * perMetre).toFixed(1)}`).join(' '));
        }
      });
    }

    function move(now) {
      const level = y(now.level);
      set(water, { y: level, height: foot - level });
      set(surface, { y1: level, y2: level });
      inlet.move(inletAt, top - size, level, now.inlet);
      holes.forEach((hole, i) => {
        if (outlets[i].capped) return;
        const lip = y(now.lips[i]);
        set(hole, { transform: `translate(${middle(i).toFixed(2)} ${lip.toFixed(2)})` });
        streams[i].move(middle(i), lip, now.landing[i], now.streams[i]);
      });
    }

    return { column, middle, inletAt, perMetre, y, outline, move };
  }

  // Have something drawn to the width it gets, now and whenever that changes.
  function sized(host, build) {
    let last = 0;
    new ResizeObserver(() => {
      if (host.clientWidth && host.clientWidth !== last) {
        last = host.clientWidth;
        build(last);
      }
    }).observe(host);
  }

  // A button that gives its screen the whole display, and takes it back.
  function fullScreen(make) {
    if (!document.documentElement.requestFullscreen) return null;
    const words = () => (document.fullscreenElement ? 'Leave full screen' : 'Full screen');
    const button = make('button', { type: 'button', on: {
      click: () => (document.fullscreenElement ? document.exitFullscreen()
        : button.closest('.w-wide').requestFullscreen()),
    } }, words());
    document.addEventListener('fullscreenchange', () => { button.textContent = words(); });
    return button;
  }

  dbox.scene = { ticks, shortLabels, textWidth, standing, set, stream, section, sized, fullScreen,
    INLET_WIDTH };
})();
