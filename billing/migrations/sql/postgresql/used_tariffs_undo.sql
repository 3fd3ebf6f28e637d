DROP TRIGGER used_tariff_is_guarded ON billing_tariffversion;
DROP FUNCTION billing_guard_used_tariff();
