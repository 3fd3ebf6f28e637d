// What a firing's chart draws around its lines: stages, earlier firings and the forecast behind
// them; the opening limit, names, marks and alarms before them.
export const STAGES = { drying: "Drying", burn_off: "Burn-off", quartz: "Quartz inversion", top: "Top" };
export const seconds = (iso) => Date.parse(iso) / 1000;

// How far up its band a name stands: clear of the opening limit and of quartz within burn-off.
const NAME_AT = { drying: 0.85, burn_off: 0.4, quartz: 0.5, top: 0.5 };

export class ChartLayers {
  // The view knows the plot, the chart's data, where a time and a temperature lie, and what is shown.
  constructor(view) {
    this.view = view;
  }

  // Runs with the plot's frame as its limits; lengths are in device pixels.
  within(drawing) {
    const { ctx, bbox } = this.view.plot;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    ctx.font = `${14 * uPlot.pxRatio}px ${this.view.colour("--text")}`;
    drawing(ctx, bbox, uPlot.pxRatio);
    ctx.restore();
  }

  trace(ctx, points) {
    ctx.beginPath();
    points.forEach(([x, y], index) => (index ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
  }

  behind() {
    if (!this.view.plot) return;
    this.within((ctx, bbox, ratio) => {
      if (this.view.shows("stages")) this.stages(ctx, bbox, ratio);
      if (this.view.shows("earlier")) this.earlier(ctx, ratio);
      if (this.view.shows("band")) this.band(ctx, ratio);
    });
  }

  stages(ctx, bbox, ratio) {
    this.view.chart.stages.forEach((stage) => {
      const left = Math.max(bbox.left, this.view.x(seconds(stage.from_at)));
      const right = stage.until_at ? this.view.x(seconds(stage.until_at)) : bbox.left + bbox.width;
      const [top, bottom] = [this.view.y(stage.high_c), this.view.y(stage.low_c)];
      ctx.fillStyle = this.view.colour(stage.name === "quartz" ? "--chart-quartz" : "--chart-stage");
      ctx.fillRect(left, top, right - left, bottom - top);
    });
  }

  // Above the curve, so that a line never runs through a name without its halo.
  names(ctx, bbox, ratio) {
    ctx.textBaseline = "middle";
    this.view.chart.stages.forEach((stage) => {
      // Inside at the right edge; beside the band where it ends before that.
      const end = stage.until_at ? this.view.x(seconds(stage.until_at)) : Infinity;
      const isBeside = end < bbox.left + 0.75 * bbox.width;
      ctx.textAlign = isBeside ? "left" : "right";
      const x = isBeside ? end + 8 * ratio : bbox.left + bbox.width - 6 * ratio;
      const y = this.view.y(stage.low_c + NAME_AT[stage.name] * (stage.high_c - stage.low_c));
      this.write(ctx, STAGES[stage.name], x, y, "--ink-soft", ratio);
    });
  }

  write(ctx, words, x, y, colour, ratio) {
    ctx.lineWidth = 6 * ratio;
    ctx.lineJoin = "round";
    ctx.strokeStyle = this.view.colour("--card");
    ctx.strokeText(words, x, y);
    ctx.fillStyle = this.view.colour(colour);
    ctx.fillText(words, x, y);
  }

  earlier(ctx, ratio) {
    const start = seconds(this.view.chart.started_at);
    ctx.strokeStyle = this.view.colour("--edge");
    ctx.globalAlpha = 0.55;
    ctx.lineWidth = ratio;
    this.view.chart.earlier.forEach((one) => {
      this.trace(ctx, one.seconds.map((after, index) => [this.view.x(start + after), this.view.y(one.temp_c[index])]));
      ctx.stroke();
    });
    ctx.globalAlpha = 1;
  }

  band(ctx, ratio) {
    const { band } = this.view.chart;
    if (!band.length) return;
    const along = (key) => band.map((one) => [this.view.x(seconds(one.at)), this.view.y(one[key])]);
    this.trace(ctx, [...along("high_c"), ...along("low_c").reverse()]);
    ctx.fillStyle = this.view.colour("--chart-band");
    ctx.fill();
    ctx.strokeStyle = this.view.colour("--cool");
    ctx.lineWidth = 2 * ratio;
    ctx.setLineDash([2 * ratio, 5 * ratio]);
    this.trace(ctx, along("likely_c"));
    ctx.stroke();
    ctx.setLineDash([]);
  }

  before() {
    if (!this.view.plot) return;
    this.within((ctx, bbox, ratio) => {
      if (this.view.shows("limit")) this.limit(ctx, bbox, ratio);
      if (this.view.shows("stages")) this.names(ctx, bbox, ratio);
      this.mark(ctx, bbox, ratio, this.view.chart.cooling_at, "Cooling");
      this.mark(ctx, bbox, ratio, this.view.chart.opened_at, "Opened");
      if (this.view.shows("alarms")) this.alarms(ctx, bbox, ratio);
    });
  }

  limit(ctx, bbox, ratio) {
    const y = this.view.y(this.view.chart.limit_c);
    ctx.strokeStyle = this.view.colour("--cool");
    ctx.lineWidth = 2 * ratio;
    ctx.setLineDash([12 * ratio, 4 * ratio]);
    this.trace(ctx, [[bbox.left, y], [bbox.left + bbox.width, y]]);
    ctx.stroke();
    ctx.setLineDash([]);
  }

  mark(ctx, bbox, ratio, at, words) {
    if (!at) return;
    const x = this.view.x(seconds(at));
    if (x > bbox.left + bbox.width) return;
    ctx.strokeStyle = this.view.colour("--edge");
    ctx.lineWidth = ratio;
    this.trace(ctx, [[x, bbox.top], [x, bbox.top + bbox.height]]);
    ctx.stroke();
    ctx.textBaseline = "top";
    ctx.textAlign = x > bbox.left + 0.75 * bbox.width ? "right" : "left";
    const aside = ctx.textAlign === "left" ? 5 : -5;
    this.write(ctx, words, x + aside * ratio, bbox.top + 3 * ratio, "--ink-soft", ratio);
  }

  // A filled triangle with its number on a line: shape and text, not colour alone. Neighbours step
  // down, so that none hides another.
  alarms(ctx, bbox, ratio) {
    const foot = bbox.top + bbox.height;
    const [wide, high] = [11 * ratio, 20 * ratio];
    let [top, last] = [bbox.top, -Infinity];
    this.view.chart.alarms.forEach((alarm, index) => {
      const x = this.view.x(seconds(alarm.raised_at));
      top = x - last < 2 * wide ? top + 1.2 * high : bbox.top + high;
      last = x;
      ctx.strokeStyle = ctx.fillStyle = this.view.colour("--bad");
      ctx.lineWidth = 1.5 * ratio;
      ctx.setLineDash([3 * ratio, 3 * ratio]);
      this.trace(ctx, [[x, bbox.top], [x, foot]]);
      ctx.stroke();
      ctx.setLineDash([]);
      this.trace(ctx, [[x, top], [x + wide, top + high], [x - wide, top + high]]);
      ctx.closePath();
      ctx.fill();
      ctx.fillStyle = this.view.colour("--card");
      ctx.textAlign = "center";
      ctx.textBaseline = "alphabetic";
      ctx.fillText(index + 1, x, top + high - 3 * ratio);
    });
  }
}
