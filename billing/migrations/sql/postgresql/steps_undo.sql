DROP TRIGGER step_is_guarded ON billing_chargestep;
