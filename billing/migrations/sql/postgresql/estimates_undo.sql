DROP TRIGGER estimate_is_guarded ON billing_lifeestimate;
DROP FUNCTION billing_guard_estimate();
