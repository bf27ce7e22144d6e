// The supply curve as numbers: sites in order of cost, the volume they use adding up. Many sites are put together to
// few steps: the first and the last site stay steps of their own, so that the ends of the curve do not move.

const STEPS_AT_MOST = 600;
const [TEST, EQUIP, FUNDED] = [0, 1, 2];

// The sites that can be in a curve, in order of cost, with what they are; made once.
function costOrder(sites) {
  const cost = wholeColumn(sites, "cost_per_m3");
  const volume = wholeColumn(sites, "volume_used_m3_day");
  const kind = new Uint8Array(sites.count);
  const known = [];
  for (let index = 0; index < sites.count; index += 1) {
    const decision = sites.decision[index];
    if (!isColoured(decision) || !Number.isFinite(cost[index]) || !(volume[index] > 0)) continue;
    kind[index] = sites.funding[index] === "funded" ? FUNDED : decision === "equip" ? EQUIP : TEST;
    known.push(index);
  }
  return { order: Uint32Array.from(known).sort((left, right) => cost[left] - cost[right] || left - right), cost, volume, kind };
}

// One step each: sites, sum of volume up to here, cost (mean by volume), volume funded and to equip in it.
function supplySteps({ order, cost, volume, kind }, wanted) {
  const list = order.filter((index) => wanted[index]);
  const groups = list.length > STEPS_AT_MOST ? stepGroups(list, volume) : null;
  const steps = [];
  let group = -1;
  let total = 0;
  let funded = 0;
  for (let at = 0; at < list.length; at += 1) {
    const index = list[at];
    const own = groups ? groups[at] : at;
    if (own !== group) {
      steps.push({ from: total, funded: 0, equip: 0, worth: 0, sites: 0, fundedSites: 0, to: 0, cost: 0 });
      group = own;
    }
    const step = steps[steps.length - 1];
    const amount = volume[index];
    total += amount;
    step.worth += amount * cost[index];
    if (kind[index] === FUNDED) {
      funded += 1;
      step.funded += amount;
    } else if (kind[index] === EQUIP) step.equip += amount;
    step.sites = at + 1;
    step.fundedSites = funded;
    step.to = total;
  }
  for (const step of steps) step.cost = step.worth / (step.to - step.from);
  return steps;
}

// The group of each site: equal parts of the volume between the first and the last site.
function stepGroups(list, volume) {
  const groups = new Uint16Array(list.length);
  const last = list.length - 1;
  let inner = 0;
  for (let at = 1; at < last; at += 1) inner += volume[list[at]];
  let below = 0;
  for (let at = 1; at < last; at += 1) {
    groups[at] = 1 + Math.min(STEPS_AT_MOST - 3, Math.floor(((STEPS_AT_MOST - 2) * below) / inner));
    below += volume[list[at]];
  }
  groups[last] = STEPS_AT_MOST - 1;
  return groups;
}

// The step that a volume falls into.
function stepAt(steps, volume) {
  let low = 0;
  let high = steps.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (steps[middle].to < volume) low = middle + 1;
    else high = middle;
  }
  return low;
}
