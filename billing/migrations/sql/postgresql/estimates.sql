-- Estimates of a part's cost and life are the ground that later charges stand on: final.

CREATE FUNCTION billing_guard_estimate() RETURNS trigger AS $$
BEGIN
    PERFORM billing_refuse(
        CASE TG_OP WHEN 'DELETE' THEN 'estimate_is_not_deleted' ELSE 'estimate_is_not_changed' END,
        'estimate anew');
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER estimate_is_guarded BEFORE UPDATE OR DELETE ON billing_lifeestimate
FOR EACH ROW EXECUTE FUNCTION billing_guard_estimate();
