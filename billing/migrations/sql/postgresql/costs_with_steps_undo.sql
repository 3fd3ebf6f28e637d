DROP TRIGGER cost_is_guarded ON billing_firingcost;
DROP FUNCTION billing_guard_cost();
DROP TRIGGER tariff_is_guarded ON billing_tariffversion;
DROP FUNCTION billing_guard_tariff();
