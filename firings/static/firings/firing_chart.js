// Draws a firing's curve with uPlot over the drawing that the server made, which stays for print
// and for browsers without scripts. Temperatures come in C and are shown in the reader's degrees.
import { ChartLayers, STAGES, seconds } from "./chart_layers.js";

const REFRESH_MS = 20_000;
const WHOLE_EVERY = 15; // late readings come in between: now and then everything is asked for
const GAP_S = 1_800; // longer than this nobody knows what the kiln did
const OPENED_SOON_S = 6 * 3_600; // an opening later than this after the last reading is not shown
const NARROW_PX = 520;

const LINES = [
  { key: "temp_c", name: "Measured", spoken: "measured", dash: [], width: 2.5, colour: "--hot" },
  { key: "zone2_c", name: "Zone 2", spoken: "zone 2", dash: [2, 4], width: 2, colour: "--hot" },
  { key: "zone3_c", name: "Zone 3", spoken: "zone 3", dash: [8, 3, 2, 3], width: 2, colour: "--hot" },
  { key: "set_point_c", name: "Set point", spoken: "set point", dash: [7, 5], width: 2, colour: "--ink-soft" },
];
const LAYERS = [
  { key: "stages", name: "Stages", has: (chart) => chart.stages.length },
  { key: "band", name: "Forecast", has: (chart) => chart.band.length },
  { key: "alarms", name: "Alarms", has: (chart) => chart.alarms.length },
  { key: "earlier", name: "Earlier firings", has: (chart) => chart.earlier.length },
  { key: "limit", name: "Opening limit", has: () => true },
];

const nbsp = "\u00a0";

class FiringChart {
  constructor(place) {
    this.place = place;
    this.part = (name) => place.querySelector(`[data-chart-${name}]`);
    this.area = this.part("area");
    this.slider = this.part("moment");
    this.readout = this.part("readout");
    this.status = this.part("status");
    this.isF = place.dataset.unit === "F";
    const zone = { timeZone: place.dataset.zone, hourCycle: "h23" };
    const locale = place.dataset.locale;
    const clock = { hour: "2-digit", minute: "2-digit" };
    this.clock = new Intl.DateTimeFormat(locale, { ...zone, ...clock });
    this.date = new Intl.DateTimeFormat(locale, { ...zone, day: "numeric", month: "short" });
    this.moment = new Intl.DateTimeFormat(locale, { ...zone, ...clock, weekday: "short" });
    this.number = new Intl.NumberFormat(locale, { maximumFractionDigits: 0, useGrouping: false });
    this.hidden = new Set();
    this.layers = new ChartLayers(this);
    this.asks = 0;
    this.follows = true;
  }

  // --- What is shown ------------------------------------------------------------------------
  degrees(temp_c) {
    return temp_c === null ? null : this.isF ? temp_c * 1.8 + 32 : temp_c;
  }

  told(temp_c) {
    return `${this.number.format(this.degrees(temp_c))}${nbsp}${this.place.dataset.degree}`;
  }

  colour(name) {
    return getComputedStyle(this.place).getPropertyValue(name).trim();
  }

  shows(key) {
    return !this.hidden.has(key);
  }

  take(fresh) {
    if (fresh.is_whole) {
      this.chart = fresh;
      return;
    }
    const before = this.chart;
    const readings = { at_unix_s: [...before.readings.at_unix_s, ...fresh.readings.at_unix_s] };
    for (const { key } of LINES) {
      if (!before.readings[key] && !fresh.readings[key]) continue;
      readings[key] = [before, fresh].flatMap(({ readings: one }) => one[key] ?? one.at_unix_s.map(() => null));
    }
    this.chart = { ...fresh, readings, earlier: before.earlier };
  }

  // Columns for uPlot, with a hole where the log has a gap; `stops` are the places of readings.
  columns() {
    const { readings } = this.chart;
    const times = readings.at_unix_s;
    const steps = times.slice(1).map((at, index) => at - times[index]).sort((a, b) => a - b);
    const gap = Math.max(GAP_S, 4 * (steps[steps.length >> 1] ?? 0));
    this.lines = LINES.filter(({ key }) => readings[key]);
    const columns = [[], ...this.lines.map(() => [])];
    this.stops = [];
    times.forEach((at, index) => {
      if (index && at - times[index - 1] > gap) {
        columns[0].push((at + times[index - 1]) / 2);
        this.lines.forEach((_, place) => columns[place + 1].push(null));
      }
      this.stops.push(columns[0].length);
      columns[0].push(at);
      this.lines.forEach(({ key }, place) => columns[place + 1].push(this.degrees(readings[key][index])));
    });
    return columns;
  }

  span() {
    const { readings, band, started_at, opened_at, state } = this.chart;
    const times = readings.at_unix_s;
    const first = Math.min(seconds(started_at), times[0] ?? Infinity);
    const ends = [first + 3_600, times.at(-1) ?? 0];
    if (this.shows("band") && band.length) {
      // While it climbs, days of cooling would squeeze the climb: the text says when they end.
      const half = 1.5 * seconds(band[0].at) - 0.5 * first;
      ends.push(state === "firing" ? half : seconds(band.at(-1).at));
    }
    const opened = opened_at ? seconds(opened_at) : Infinity;
    if (opened < ends[1] + OPENED_SOON_S) ends.push(opened + 0.1 * (opened - first));
    return [first, Math.max(...ends)];
  }

  heights() {
    const { readings, stages, limit_c } = this.chart;
    const shown = LINES.flatMap(({ key }) => (readings[key] ?? []).filter((one) => one !== null));
    const tops = this.shows("stages") ? stages.map((one) => one.high_c) : [];
    const hottest = [...shown, ...tops].reduce((a, b) => Math.max(a, b), limit_c + 50);
    return [0, this.degrees(hottest) * 1.06];
  }

  // --- Drawing ------------------------------------------------------------------------------
  draw() {
    const columns = this.columns();
    if (this.plot && this.drawn === this.lines.length) {
      this.plot.setData(columns);
    } else {
      this.plot?.destroy();
      this.drawn = this.lines.length;
      this.plot = new uPlot(this.options(), columns, this.area);
    }
    this.buttons();
    this.settle();
  }

  size() {
    return { width: this.area.clientWidth, height: this.area.clientHeight };
  }

  options() {
    const font = `15px ${this.colour("--text")}`;
    const axis = { stroke: () => this.colour("--ink-soft"), font, ticks: { show: false } };
    const grid = { stroke: () => this.colour("--line"), width: 1 };
    const isNarrow = this.area.clientWidth < NARROW_PX;
    return {
      ...this.size(),
      padding: [10, 14, 0, 0],
      legend: { show: false },
      cursor: {
        drag: { x: false, y: false },
        points: { size: 11 },
      },
      tzDate: (at) => uPlot.tzDate(new Date(at * 1000), this.place.dataset.zone),
      scales: {
        x: { time: true, range: () => this.span() },
        y: { range: () => this.heights() },
      },
      axes: [
        { ...axis, grid, size: 46, space: isNarrow ? 70 : 90, values: (_, at) => this.hours(at) },
        { ...axis, grid, size: 56, space: 38, values: (_, at) => at.map((one) => this.number.format(one)) },
      ],
      series: [{}, ...this.lines.map((line) => this.series(line))],
      hooks: {
        drawClear: [() => this.layers.behind()],
        draw: [() => this.layers.before()],
        setCursor: [(plot) => this.pointed(plot)],
      },
    };
  }

  series({ key, width, dash, colour }) {
    return {
      show: this.shows(key),
      stroke: () => this.colour(colour),
      width,
      dash,
      spanGaps: key !== "temp_c",
      points: { fill: () => this.colour(colour) },
    };
  }

  hours(at) {
    let day = "";
    return at.map((one) => {
      const date = new Date(one * 1000);
      const now = this.day(date);
      const line = now === day ? "" : `\n${now}`;
      day = now;
      return this.clock.format(date) + line;
    });
  }

  // Day before month, as everywhere on the pages.
  day(date) {
    const parts = Object.fromEntries(this.date.formatToParts(date).map(({ type, value }) => [type, value]));
    return `${parts.day} ${parts.month}`;
  }

  x(at) {
    return this.plot.valToPos(at, "x", true);
  }

  y(temp_c) {
    return this.plot.valToPos(this.degrees(temp_c), "y", true);
  }

  // --- Reading it off -----------------------------------------------------------------------
  pointed(plot) {
    if (this.isSettling || plot.cursor.idx === null || plot.cursor.left < 0) return;
    const nearest = this.stops.reduce((best, place, stop) =>
      Math.abs(place - plot.cursor.idx) < Math.abs(this.stops[best] - plot.cursor.idx) ? stop : best, 0);
    this.readout.setAttribute("aria-live", "off");
    this.choose(nearest);
  }

  // From the slider, which arrow keys, Home, End and a finger move.
  slid() {
    this.readout.setAttribute("aria-live", "polite");
    this.choose(Number(this.slider.value));
    this.point();
  }

  choose(stop) {
    this.stop = stop;
    this.follows = stop === this.stops.length - 1;
    this.slider.value = stop;
    this.tell();
  }

  // After new readings: stay at the moment that was chosen, or at the last one.
  settle() {
    const last = this.stops.length - 1;
    this.part("choice").hidden = last < 1;
    this.slider.max = Math.max(last, 0);
    if (last < 0) return;
    const times = this.chart.readings.at_unix_s;
    const place = this.follows ? -1 : times.findIndex((at) => at >= this.chosenAt);
    const live = this.readout.getAttribute("aria-live");
    this.readout.setAttribute("aria-live", "off");
    this.choose(place < 0 ? last : place);
    this.readout.setAttribute("aria-live", live);
    this.point();
  }

  point() {
    this.isSettling = true;
    const place = this.stops[this.stop];
    const [at, temp] = [this.plot.data[0][place], this.plot.data[1][place]];
    this.plot.setCursor({ left: this.plot.valToPos(at, "x"), top: this.plot.valToPos(temp, "y") });
    this.isSettling = false;
  }

  tell() {
    const { readings, stages, alarms, started_at } = this.chart;
    const at = readings.at_unix_s[this.stop];
    this.chosenAt = at;
    const minutes = Math.round((at - seconds(started_at)) / 60);
    const far = `${Math.floor(Math.abs(minutes) / 60)}${nbsp}h${nbsp}${String(Math.abs(minutes) % 60).padStart(2, "0")}${nbsp}min`;
    const when = `${this.moment.format(new Date(at * 1000))}, ${far} ${minutes < 0 ? "before" : "after"} the start`;
    const values = this.lines
      .filter(({ key }) => readings[key][this.stop] !== null)
      .map(({ key, spoken }) => `${spoken} ${this.told(readings[key][this.stop])}`);
    const temp = readings.temp_c[this.stop];
    const stage = stages.filter((one) => temp >= one.low_c && temp < one.high_c
      && at >= seconds(one.from_at) && (!one.until_at || at < seconds(one.until_at))).at(-1);
    const rang = alarms.map((one, index) => [one, index + 1])
      .filter(([one]) => at >= seconds(one.raised_at) && (!one.cleared_at || at <= seconds(one.cleared_at)))
      .map(([one, number]) => `alarm ${number} (${one.words})`);
    const more = [...(stage ? [STAGES[stage.name].toLowerCase()] : []), ...rang];
    this.slider.setAttribute("aria-valuetext", this.clock.format(new Date(at * 1000)));
    this.readout.textContent = `${when}: ${[...values, ...more].join(", ")}.`;
  }

  // --- Buttons ------------------------------------------------------------------------------
  buttons() {
    const shown = [...this.lines, ...LAYERS.filter((layer) => layer.has(this.chart))];
    const names = shown.map(({ key, name }) => `${key}:${name}`).join();
    if (names === this.named) return;
    this.named = names;
    this.part("shown").replaceChildren(...shown.map((one) => this.button(one)));
  }

  button({ key, name }) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = `button quiet chart-key chart-key-${key}`;
    button.textContent = name;
    button.setAttribute("aria-pressed", String(this.shows(key)));
    button.addEventListener("click", () => {
      if (!this.hidden.delete(key)) this.hidden.add(key);
      button.setAttribute("aria-pressed", String(this.shows(key)));
      const line = this.lines.findIndex((one) => one.key === key);
      if (line >= 0) this.plot.setSeries(line + 1, { show: this.shows(key) });
      this.plot.setData(this.plot.data);
      this.settle();
    });
    return button;
  }

  // --- Asking -------------------------------------------------------------------------------
  async ask() {
    const url = new URL(this.place.dataset.chart, window.location.href);
    const last = this.chart?.readings.at_unix_s.at(-1);
    if (last && this.asks % WHOLE_EVERY) url.searchParams.set("since", new Date(last * 1000).toISOString());
    const answer = await fetch(url, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error(`${answer.status}`);
    this.take(await answer.json());
    this.asks += 1;
  }

  async refresh() {
    if (this.isAsking) return;
    this.isAsking = true;
    try {
      await this.ask();
      this.show();
      this.status.textContent = "";
    } catch (fault) {
      this.asks = 0;
      this.fail(fault);
    } finally {
      this.isAsking = false;
    }
  }

  show() {
    if (!this.chart.readings.at_unix_s.length) return;
    this.place.hidden = false;
    document.documentElement.classList.add("has-chart");
    this.draw();
  }

  fail(fault) {
    const how = ["401", "403"].includes(fault.message) ? "Sign in again." : "It is tried again.";
    const at = this.chart ? ` as of ${this.clock.format(new Date(this.chart.at))}` : "";
    this.status.textContent = `The curve stands${at}: nothing new could be fetched. ${how}`;
  }

  start() {
    this.slider.addEventListener("input", () => this.slid());
    new ResizeObserver(() => this.resize()).observe(this.area);
    const scheme = window.matchMedia("(prefers-color-scheme: dark)");
    scheme.addEventListener("change", () => this.plot?.redraw());
    this.refresh();
    if (!("live" in this.place.dataset)) return;
    const refreshIfSeen = () => document.hidden || this.refresh();
    window.setInterval(refreshIfSeen, REFRESH_MS);
    document.addEventListener("visibilitychange", refreshIfSeen);
  }

  resize() {
    const { width, height } = this.size();
    if (width && this.plot && (width !== this.plot.width || height !== this.plot.height)) {
      this.plot.setSize({ width, height });
      this.point();
    }
  }
}

const place = document.querySelector("[data-chart]");
// Without its data the page keeps the drawing that came with it.
if (place && window.uPlot) new FiringChart(place).start();
